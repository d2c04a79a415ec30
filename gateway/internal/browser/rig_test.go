package browser

import (
	"context"
	"io"
	"log/slog"
	"net/http/httptest"
	"os/exec"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"breakshare.example/gateway"
	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/services/platform/identity"
)

// screen is what the visitor looks at.
type screen struct {
	name   string
	width  int64
	dark   bool
	script bool
}

var (
	phone = screen{name: "360", width: 360, script: true}
	desk  = screen{name: "1280", width: 1280, script: true}
)

// browser is one chromium for all tests of the process, started by TestMain.
var browser context.Context

// chromium finds the browser.
func chromium() (string, bool) {
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path, true
		}
	}
	return "", false
}

// rig is the gateway over a co-op and one tab of a visitor.
type rig struct {
	t      *testing.T
	coop   *fakecoop.Coop
	url    string
	tab    context.Context
	signal *signal
}

// open starts the gateway and opens a tab with cookies of its own.
func open(t *testing.T, s screen) *rig {
	t.Helper()
	coop := fakecoop.Start(t)
	office := fakecoop.Who(identity.Coordinator, "")
	handler, err := gateway.Bind(t.Context(), gateway.Host{
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Clock: coop.Clock, Tokens: coop.Tokens, Dial: coop.Dial,
		Local: func() (identity.Identity, bool) { return office, true },
	}, gateway.Config{LiveSeconds: 1})
	if err != nil {
		t.Fatal(err)
	}
	way := &signal{}
	server := httptest.NewServer(way.over(handler))
	t.Cleanup(server.Close)
	tab := takeTab(t)
	r := &rig{t: t, coop: coop, url: server.URL, tab: tab.ctx, signal: way}
	r.look(s)
	call(r, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: !s.script})
	call(r, network.SetExtraHTTPHeaders, network.SetExtraHTTPHeadersParams{Headers: network.Headers{"Accept-Language": "en"}})
	return r
}

// look changes what the visitor looks at, scripts apart; the page stays.
func (r *rig) look(s screen) {
	r.t.Helper()
	scheme := "light"
	if s.dark {
		scheme = "dark"
	}
	call(r, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: s.width, Height: 800, DeviceScaleFactor: 1, Mobile: s.width < 600})
	call(r, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
		{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"},
	}})
}

// do runs steps and fails the test when they take too long.
func (r *rig) do(steps ...chromedp.Action[chromedp.Void]) {
	r.t.Helper()
	run(r, chromedp.Steps(steps...))
}

// run runs one step and returns what it found.
func run[T any](r *rig, step chromedp.Action[T]) T {
	r.t.Helper()
	ctx, cancel := context.WithTimeout(r.tab, patience)
	defer cancel()
	found, err := chromedp.Run(ctx, step)
	if err != nil {
		r.t.Fatal(err)
	}
	return found
}

// call sends the tab one command of the protocol and returns its answer.
func call[P, R any](r *rig, command cdp.Command[P, R], params P) R {
	r.t.Helper()
	return run(r, func(ctx context.Context, t *chromedp.Target) (R, error) { return cdp.Call(ctx, t, command, params) })
}

// goTo opens a page.
func (r *rig) goTo(path string) {
	r.t.Helper()
	r.do(chromedp.Navigate(r.url+path), chromedp.WaitReady(chromedp.CSS("main"), chromedp.RetryInterval(glance)))
}

// as chooses who the visitor is on the start page, as a visitor does.
func (r *rig) as(who string) {
	r.t.Helper()
	r.goTo("/start")
	r.do(chromedp.SetValue(chromedp.CSS("#name"), "Una Byrne"))
	r.send(`button[value="` + who + `"]`)
}

// send clicks what leads to another page and waits until that page stands, were it the same
// one anew.
func (r *rig) send(selector string) {
	r.t.Helper()
	const begun = `performance.timeOrigin`
	before := run(r, chromedp.Evaluate[float64](begun))
	r.do(chromedp.Click(chromedp.CSS(selector)))
	await(r.t, "the page that "+selector+" leads to", func() bool {
		ctx, cancel := context.WithTimeout(r.tab, patience)
		defer cancel()
		// Between two pages there is none to ask: an error means not yet.
		now, err := chromedp.Run(ctx, chromedp.Evaluate[float64](begun))
		if err != nil || now == before {
			return false
		}
		state, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.readyState`))
		return err == nil && state == "complete"
	})
}

// text is what the first match of a selector shows.
func (r *rig) text(selector string) string {
	r.t.Helper()
	return run(r, chromedp.Text(chromedp.CSS(selector), chromedp.NodeVisible))
}

// value is what stands in a field.
func (r *rig) value(selector string) string {
	r.t.Helper()
	return run(r, chromedp.Value(chromedp.CSS(selector)))
}
