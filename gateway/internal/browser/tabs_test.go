package browser

import (
	"context"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// tab is one tab with cookies of its own. Tests pass tabs on to one another, for each new one
// costs a process: every test has a gateway at another port, whose storage and service worker
// are its own, and finds no cookies.
type tab struct {
	ctx   context.Context
	close context.CancelFunc
}

// free are tabs that no test uses.
var free = make(chan tab, 16)

// takeTab takes a free tab or opens one, and gives it back with the end of the test. One whose
// test failed is closed.
func takeTab(t *testing.T) tab {
	t.Helper()
	var mine tab
	select {
	case mine = <-free:
	default:
		mine.ctx, mine.close = chromedp.NewContext(browser, chromedp.WithNewBrowserContext())
		// The tab lives as long as the context of its first call.
		if err := chromedp.Do(mine.ctx); err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(func() {
		if t.Failed() || mine.clear() != nil {
			mine.close()
			return
		}
		select {
		case free <- mine:
		default:
			mine.close()
		}
	})
	return mine
}

// clear leaves the page, which ends its streams, and what a test may have changed of the tab.
func (t tab) clear() error {
	ctx, cancel := context.WithTimeout(t.ctx, patience)
	defer cancel()
	_, err := chromedp.Run(ctx, func(ctx context.Context, t *chromedp.Target) (cdp.Empty, error) {
		if _, err := cdp.Call(ctx, t, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{}); err != nil {
			return cdp.Empty{}, err
		}
		if _, err := cdp.Call(ctx, t, network.OverrideNetworkState, network.OverrideNetworkStateParams{DownloadThroughput: -1, UploadThroughput: -1}); err != nil {
			return cdp.Empty{}, err
		}
		return cdp.Call(ctx, t, network.ClearBrowserCookies, cdp.Empty{})
	})
	if err != nil {
		return err
	}
	return chromedp.Do(ctx, chromedp.Navigate("about:blank"))
}

// patience is how long one step in the browser may take.
const patience = 30 * time.Second

// glance is the pause between two looks at a page: to look more often costs the browser more
// than it saves.
const glance = 25 * time.Millisecond

// await looks again and again until something holds, and fails the test when it takes too long.
func await(t *testing.T, what string, holds func() bool) {
	t.Helper()
	deadline := time.NewTimer(patience)
	defer deadline.Stop()
	tick := time.NewTicker(glance)
	defer tick.Stop()
	for !holds() {
		select {
		case <-deadline.C:
			t.Fatalf("waited %s in vain for: %s", patience, what)
		case <-tick.C:
		}
	}
}
