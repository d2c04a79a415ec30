package browser

import (
	"net/http"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"breakshare.example/gateway/internal/fakecoop"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
)

// signal is the way between the phone and the gateway.
type signal struct {
	gone atomic.Bool
	// deaf lets requests through and loses their answers.
	deaf atomic.Bool
}

// over is the gateway beyond the signal: without one, connections end without an answer.
func (s *signal) over(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if s.deaf.Load() {
			next.ServeHTTP(discarded{http.Header{}}, r)
			panic(http.ErrAbortHandler)
		}
		if s.gone.Load() {
			panic(http.ErrAbortHandler)
		}
		next.ServeHTTP(w, r)
	})
}

// discarded is an answer that nobody gets.
type discarded struct{ header http.Header }

func (d discarded) Header() http.Header         { return d.header }
func (d discarded) Write(b []byte) (int, error) { return len(b), nil }
func (d discarded) WriteHeader(int)             {}

// offline takes the signal away, or gives it back, for the page and for what lies behind it.
func (r *rig) offline(gone bool) {
	r.t.Helper()
	r.signal.gone.Store(gone)
	call(r, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: gone, Latency: 0, DownloadThroughput: -1, UploadThroughput: -1})
	if !gone {
		// A page that was opened meanwhile is not told by the emulation.
		run(r, chromedp.Evaluate[bool](`dispatchEvent(new Event("online"))`))
	}
}

var unavailable = fault.New(fault.Unavailable, "DOWN", "down")

// installed opens a page of a grower whose phone has the suite installed: the service worker runs
// and has kept the page.
func installed(t *testing.T, s screen, path string) *rig {
	t.Helper()
	r := open(t, s)
	r.as("grower:alder-brook")
	r.eventually("the service worker runs", `navigator.serviceWorker.ready.then(r => r.active.state === "activated")`)
	r.goTo(path)
	r.eventually("the page is kept", `caches.open("pages").then(c => c.keys()).then(k => k.some(r => new URL(r.url).pathname === "`+path+`") && k.some(r => r.url.endsWith("/waiting")))`)
	return r
}

// eventually waits until an expression of the page is true.
func (r *rig) eventually(what, expression string) {
	r.t.Helper()
	await(r.t, what, func() bool {
		return run(r, chromedp.Evaluate[bool](expression, chromedp.EvalAwaitPromise))
	})
}

// waiting wants the list of what waits to say something, in time.
func (r *rig) waiting(says string) {
	r.t.Helper()
	r.eventually("the list says "+says, `document.querySelector("[data-waiting]").innerText.includes(`+"`"+says+"`"+`)`)
}

func TestPushWaitsForTheSignalAndGoesOnce(t *testing.T) {
	t.Parallel()
	for _, s := range []screen{phone, desk} {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			r := installed(t, s, "/push")
			r.offline(true)
			r.do(typed(likely, "74.5"))
			r.send(`.push > .actions button`)
			r.waiting("Waits for a signal")
			r.waiting("Push for Thursday 26 November")
			r.waiting("No signal. This page is as it was")
			if got := r.value(likely); got != "74.5" {
				t.Errorf("the page forgot what was typed: %q", got)
			}
			// Corrected while it waits: both go, in their order, and none stands in the other's way.
			r.do(typed(likely, "71"))
			r.send(`.push > .actions button`)
			r.waiting("71 · 38.4")
			r.keep(s, "grower_push_waiting")
			if n := r.coop.Calls("PushExpectedPicks"); n != 0 {
				t.Errorf("pushed %d times without a signal", n)
			}
			r.offline(false)
			r.eventually("both are sent", `[...document.querySelectorAll("[data-waiting] li .figure")].filter(e => e.textContent === "✓ Sent").length === 2`)
			r.goTo("/push")
			r.eventually("the list is drawn", `!document.querySelector("[data-waiting]").hidden`)
			if e := r.pushed(); e.GetLikelyGrams() != 71_000 || e.GetVersion() != 2 {
				t.Errorf("pushed %v", e)
			}
			if n := r.coop.Calls("PushExpectedPicks"); n != 2 {
				t.Errorf("pushed %d times, want 2", n)
			}
		})
	}
}

// pushed is the newest figure of the first room.
func (r *rig) pushed() *harvestv1.ExpectedPick {
	for _, e := range r.coop.Expected {
		if e.GetRoomId() == "alder-brook-1" && e.GetProductId() == "white-closed-2kg" && e.GetDate() == fakecoop.Tomorrow {
			return e
		}
	}
	return nil
}

// TestLostAnswerCountsOnce: the weighing came through and its answer did not.
func TestLostAnswerCountsOnce(t *testing.T) {
	t.Parallel()
	r := installed(t, phone, "/pick")
	r.do(click("section.card summary"), typed(`input[name="gross_grams"]`, "78"), typed(`input[name="tare_grams"]`, "6"))
	r.signal.deaf.Store(true)
	r.send(`form[action="/pick/weigh"] button`)
	r.waiting("Waits for a signal")
	r.signal.deaf.Store(false)
	r.goTo("/pick")
	r.waiting("✓ Sent")
	if calls := r.coop.Calls("RecordPick"); calls < 2 || len(r.coop.Picks) != 1 {
		t.Errorf("asked %d times, %d picks", calls, len(r.coop.Picks))
	}
}

func TestTwoEqualWeighingsAreTwo(t *testing.T) {
	t.Parallel()
	r := installed(t, phone, "/pick")
	r.offline(true)
	for range 2 {
		r.do(click("section.card summary"), typed(`input[name="gross_grams"]`, "40"), typed(`input[name="tare_grams"]`, "4"))
		r.send(`form[action="/pick/weigh"] button`)
		r.waiting("Waits for a signal")
	}
	r.offline(false)
	r.waiting("✓ Sent")
	await(t, "both are taken", func() bool { return r.coop.Calls("RecordPick") >= 2 })
	r.waiting("40 − 4")
	if len(r.coop.Picks) != 2 {
		t.Errorf("%d picks, want 2", len(r.coop.Picks))
	}
}

func TestConflictOfAPushThatWaitedIsShown(t *testing.T) {
	t.Parallel()
	r := installed(t, phone, "/push")
	r.offline(true)
	r.do(typed(likely, "74.5"))
	r.send(`.push > .actions button`)
	r.waiting("Waits for a signal")
	other := fakecoop.Who("coordinator", "")
	other.Name = "The office"
	r.coop.Push(other, "alder-brook-1", "white-closed-2kg", 50_000, 55_000, 60_000)
	r.offline(false)
	r.waiting("Not pushed: others pushed meanwhile")
	r.keep(phone, "grower_push_not_pushed")
	r.waiting("House 1, White closed cups, 2 kg: now 50.0 – 55.0 – 60.0 kg by The office")
	if e := r.pushed(); e.GetLikelyGrams() != 55_000 {
		t.Fatalf("written over: %v", e)
	}
	r.send(`[data-waiting] .actions button`)
	r.do(shown(".both"))
	r.keep(phone, "grower_push_conflict")
	if got := r.value(likely); got != "74.5" {
		t.Errorf("beside theirs stands %q", got)
	}
	r.do(click(`.both input[value^="mine"]`))
	r.send(`.push > .actions button`)
	r.do(shown(".done"))
	r.waiting("✓ Sent")
	if e := r.pushed(); e.GetLikelyGrams() != 74_500 || e.GetVersion() != 2 {
		t.Errorf("pushed %v", e)
	}
}

func TestRefusedPushThatWaitedIsMended(t *testing.T) {
	t.Parallel()
	r := installed(t, phone, "/push")
	r.offline(true)
	r.do(typed(likely, "a lot"))
	r.send(`.push > .actions button`)
	r.waiting("Waits for a signal")
	r.offline(false)
	r.waiting("✗ Refused")
	r.send(`[data-waiting] .actions button`)
	if got := r.text(".pushrow .error"); !strings.Contains(got, "not a weight in kg") {
		t.Errorf("the page says %q", got)
	}
	r.do(typed(likely, "70"))
	r.send(`.push > .actions button`)
	r.waiting("✓ Sent")
}

// TestAnotherPersonFindsNothing: who takes the phone over sees neither pages nor forms of the
// last one, and nothing goes in another's name.
func TestAnotherPersonFindsNothing(t *testing.T) {
	t.Parallel()
	r := installed(t, phone, "/push")
	r.offline(true)
	r.do(typed(likely, "74.5"))
	r.send(`.push > .actions button`)
	r.waiting("Waits for a signal")
	// The signal is back for the one who takes over, before anything was sent.
	r.coop.Fail("PushExpectedPicks", unavailable)
	r.offline(false)
	r.as("grower:birch-hollow")
	r.coop.Fail("PushExpectedPicks", nil)
	r.eventually("the other's pages are gone", `caches.open("pages").then(c => c.keys()).then(k => k.length > 0)`)
	r.offline(true)
	r.goTo("/pick")
	if got := r.text("main"); strings.Contains(got, "House 1") || strings.Contains(got, "Push for") {
		t.Errorf("the next one sees %q", got)
	}
	r.offline(false)
	r.goTo("/push")
	if r.pushed() != nil {
		t.Error("it was sent in another's name")
	}
}
