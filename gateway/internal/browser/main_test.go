package browser

import (
	"context"
	"fmt"
	"os"
	"testing"

	"github.com/chromedp/chromedp"
)

func TestMain(m *testing.M) { os.Exit(start(m)) }

func start(m *testing.M) int {
	path, ok := chromium()
	if !ok {
		fmt.Fprintln(os.Stderr, "these tests need chromium: install Debian's package `chromium` (as root, scripts/test does)")
		return 1
	}
	profile, err := os.MkdirTemp("", "breakshare-browser-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(profile)
	allocator, stop := chromedp.NewExecAllocator(context.Background(),
		chromedp.ExecPath(path), chromedp.UserDataDir(profile),
		chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun, chromedp.NoDefaultBrowserCheck,
		// Pages of one site share a process, and none is started for what may come: processes
		// are what costs time here.
		chromedp.Flag("process-per-site", true), chromedp.Flag("disable-features", "SpareRendererForSitePerProcess,BackForwardCache,Translate,OptimizationHints,MediaRouter,GlobalMediaControls"),
		chromedp.Flag("disable-extensions", true), chromedp.Flag("disable-breakpad", true), chromedp.Flag("mute-audio", true),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.Flag("disable-dev-shm-usage", true),
	)
	defer stop()
	var closeBrowser context.CancelFunc
	browser, closeBrowser = chromedp.NewContext(allocator)
	defer closeBrowser()
	if err := chromedp.Do(browser); err != nil {
		fmt.Fprintln(os.Stderr, "chromium does not start:", err)
		return 1
	}
	return m.Run()
}
