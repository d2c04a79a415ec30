package browser

import (
	"context"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"breakshare.example/gateway/internal/fakecoop"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// everywhere runs a job on a phone and at a desk, and on a phone without scripts.
func everywhere(t *testing.T, job func(t *testing.T, s screen)) {
	plain := phone
	plain.script = false
	for name, s := range map[string]screen{phone.name: phone, desk.name: desk, "360 without scripts": plain} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			job(t, s)
		})
	}
}

func click(selector string) chromedp.Action[chromedp.Void] {
	return chromedp.Click(chromedp.CSS(selector))
}

// typed replaces what stands in a field by keys, as a person does.
func typed(selector, text string) chromedp.Action[chromedp.Void] {
	css := chromedp.CSS(selector)
	return chromedp.Steps(chromedp.Focus(css), chromedp.KeyEvent("a", chromedp.KeyModifiers(2)), chromedp.SendKeys(css, kb.Delete+text))
}

func shown(selector string) chromedp.Action[chromedp.Void] {
	return chromedp.WaitVisible(chromedp.CSS(selector), chromedp.RetryInterval(glance))
}

const likely = `input[name="likely.alder-brook-1.white-closed-2kg"]`

func TestGrowerPushes(t *testing.T) {
	t.Parallel()
	everywhere(t, func(t *testing.T, s screen) {
		r := open(t, s)
		r.as("grower:alder-brook")
		if s.script {
			// One thumb: a step is one pack of 2 kg, and the least and the most keep their distance.
			r.do(click(`button[aria-label="Likely kg +"]`), click(`button[aria-label="Likely kg +"]`), click(`button[aria-label="Likely kg −"]`))
			if got := r.value(likely) + " " + r.value(`input[name^="low."]`) + " " + r.value(`input[name^="high."]`); got != "74.5 61.7 87.3" {
				t.Errorf("after the steps the figures are %s", got)
			}
		} else {
			r.do(typed(likely, "74.5"))
		}
		r.send(`.push > .actions button`)
		if got := r.text(".done"); !strings.Contains(got, "2 figures pushed") {
			t.Errorf("the page says %q", got)
		}
		// After the two that were there come the form's, by room.
		if first := r.coop.Expected[2]; first.GetLikelyGrams() != 74_500 || first.GetDate() != fakecoop.Tomorrow {
			t.Errorf("pushed %v", first)
		}
	})
}

func TestGrowerMendsAFigure(t *testing.T) {
	t.Parallel()
	everywhere(t, func(t *testing.T, s screen) {
		r := open(t, s)
		r.as("grower:alder-brook")
		r.do(typed(likely, "a lot"))
		r.send(`.push > .actions button`)
		if got := r.text(".error"); !strings.Contains(got, "not a weight in kg") {
			t.Errorf("the page says %q", got)
		}
		if got := r.value(likely); got != "a lot" {
			t.Errorf("what was typed is %q now", got)
		}
		if s.script && !run(r, chromedp.Evaluate[bool](`document.activeElement.matches("[aria-invalid]")`)) {
			t.Error("the wrong field has not got the focus")
		}
		r.do(typed(likely, "70"))
		r.send(`.push > .actions button`)
		r.do(shown(".done"))
	})
}

func TestGrowerWeighsInAndSends(t *testing.T) {
	t.Parallel()
	everywhere(t, func(t *testing.T, s screen) {
		r := open(t, s)
		r.as("grower:alder-brook")
		r.goTo("/pick")
		r.do(click("section.card summary"), typed(`input[name="gross_grams"]`, "78"), typed(`input[name="tare_grams"]`, "6"))
		r.send(`form[action="/pick/weigh"] button`)
		r.do(shown(".done"))
		r.send(`form[action="/pick/dispatch"] button`)
		if got := r.text(".note"); !strings.Contains(got, "ab-1126-001–030") {
			t.Errorf("the note says %q", got)
		}
		if len(r.coop.Picks) != 1 {
			t.Errorf("%d picks", len(r.coop.Picks))
		}
	})
}

func TestTicksStay(t *testing.T) {
	t.Parallel()
	r := open(t, phone)
	r.as("grower:alder-brook")
	r.goTo("/pick")
	r.do(click(`.ticks li:first-child input`))
	r.goTo("/pick")
	if got := run(r, chromedp.Evaluate[[]bool](`[...document.querySelectorAll("[data-tick]")].map(t => t.checked)`)); len(got) != 2 || !got[0] || got[1] {
		t.Errorf("ticked are %v", got)
	}
}

func TestCoordinatorConfirms(t *testing.T) {
	t.Parallel()
	everywhere(t, func(t *testing.T, s screen) {
		r := open(t, s)
		r.as("coordinator")
		r.send(`form[action="/tomorrow/run"] button`)
		r.send(`form[action="/tomorrow/confirm"] button`)
		if got := r.text(".state"); !strings.Contains(got, "Confirmed by Una Byrne.") {
			t.Errorf("the page says %q", got)
		}
		if r.coop.Match.GetState() != orderv1.MatchState_MATCH_STATE_CONFIRMED || r.coop.Calls("RunMatch") != 1 {
			t.Errorf("%v, run %d times", r.coop.Match.GetState(), r.coop.Calls("RunMatch"))
		}
	})
}

// TestCoordinatorByKeyboard does the same without a pointer: every step is the tabulator or
// the enter key, and the focus is always seen.
func TestCoordinatorByKeyboard(t *testing.T) {
	t.Parallel()
	r := open(t, desk)
	r.as("coordinator")
	r.goTo("/tomorrow")
	r.do(chromedp.KeyEvent(kb.Tab))
	if got := run(r, chromedp.Evaluate[string](`document.activeElement.className`)); got != "skip" {
		t.Errorf("the first stop is %q, want the link to the content", got)
	}
	r.do(chromedp.KeyEvent(kb.Enter))
	r.tabTo(`form[action="/tomorrow/confirm"] button`)
	if outline := run(r, chromedp.Evaluate[string](`getComputedStyle(document.activeElement).outlineStyle`)); outline == "none" {
		t.Error("the focus cannot be seen")
	}
	r.do(chromedp.KeyEvent(kb.Enter), chromedp.WaitNotPresent(chromedp.CSS(`form[action="/tomorrow/confirm"]`)))
	if r.coop.Match.GetConfirmedBy() != "Una Byrne" {
		t.Errorf("confirmed by %q", r.coop.Match.GetConfirmedBy())
	}
	r.tabTo("details summary")
	r.do(chromedp.KeyEvent(kb.Enter), shown("details[open] table"))
}

// tabTo presses the tabulator until an element has the focus.
func (r *rig) tabTo(selector string) {
	r.t.Helper()
	for range 40 {
		r.do(chromedp.KeyEvent(kb.Tab))
		if run(r, chromedp.Evaluate[bool](`document.activeElement.matches('`+selector+`')`)) {
			return
		}
	}
	r.t.Fatalf("%s cannot be reached by the tabulator", selector)
}

func TestYardManagerReleases(t *testing.T) {
	t.Parallel()
	everywhere(t, func(t *testing.T, s screen) {
		r := open(t, s)
		r.as("yard_manager:quarry-end")
		r.goTo("/lots")
		r.send(`a[href="/lots/quarry-end-26-41"]`)
		r.send(`form[action$="/release"] button`)
		if got := r.text(".lead"); got != "Released by Una Byrne" {
			t.Errorf("the page says %q", got)
		}
	})
}

func TestBuyerChangesTomorrow(t *testing.T) {
	t.Parallel()
	everywhere(t, func(t *testing.T, s screen) {
		r := open(t, s)
		r.as("buyer:copper-pan")
		r.do(click("#d-2026-11-26 summary"), shown(`#d-2026-11-26 form`), typed(`#d-2026-11-26 input[name="packs.oyster-1kg"]`, "15"))
		r.send(`#d-2026-11-26 form > button`)
		r.do(shown(".done"))
		if got := r.text("#d-2026-11-26 ul"); !strings.Contains(got, "15 packs") {
			t.Errorf("the day says %q", got)
		}
		if got := r.coop.Orders[1].GetLines()[0].GetPacks(); got != 15 {
			t.Errorf("%d packs are ordered", got)
		}
	})
}

func TestCoordinatorTracesAndSharesOut(t *testing.T) {
	t.Parallel()
	r := open(t, desk)
	r.as("coordinator")
	r.goTo("/trace")
	r.do(typed("#code", "quarry-end-26-37"+kb.Enter), shown("svg.tree"))
	if got := r.text("#recall ~ p"); !strings.Contains(got, "30 packs") {
		t.Errorf("the list says %q", got)
	}
	r.goTo("/slots")
	r.send("form.inline button")
	r.send(`form[action="/slots/confirm"] button`)
	r.do(shown(".done"))
	if len(r.coop.Shares) != 2 {
		t.Errorf("%d shares were granted", len(r.coop.Shares))
	}
}

// TestScriptsOfOthersDoNotRun: the browser itself refuses what the policy forbids.
func TestScriptsOfOthersDoNotRun(t *testing.T) {
	t.Parallel()
	r := open(t, desk)
	r.as("coordinator")
	ran := run(r, chromedp.Evaluate[bool](`(() => { const s = document.createElement("script"); s.textContent = "window.ran = true"; document.body.append(s); return !!window.ran; })()`))
	if ran {
		t.Error("an inline script ran")
	}
}

// TestAnImpatientFingerSendsOnce: a second click while the first is on its way does nothing.
func TestAnImpatientFingerSendsOnce(t *testing.T) {
	t.Parallel()
	r := open(t, phone)
	r.as("coordinator")
	double := func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := chromedp.Evaluate[bool](`(() => { const b = document.querySelector('form[action="/tomorrow/run"] button'); b.click(); b.click(); return true; })()`)(ctx, t)
		return chromedp.Void{}, err
	}
	r.do(double, chromedp.WaitVisible(chromedp.CSS("li.short")))
	r.goTo("/tomorrow")
	if n := r.coop.Calls("RunMatch"); n != 1 {
		t.Errorf("the match was run %d times", n)
	}
}

// TestRunFallsBackOnThePlainForm: where the stream cannot be had, the plain form still runs the match.
func TestRunFallsBackOnThePlainForm(t *testing.T) {
	t.Parallel()
	r := open(t, desk)
	r.as("coordinator")
	run(r, chromedp.Evaluate[bool](`(() => { window.fetch = () => Promise.reject(new Error("no stream")); return true; })()`))
	r.send(`form[action="/tomorrow/run"] button`)
	r.do(shown("li.short"))
	if n := r.coop.Calls("RunMatch"); n != 1 {
		t.Errorf("the match was run %d times", n)
	}
}

// TestRunTellsHowFarItIs: the steps of the stream stand beside the button, the last one before
// the page with the match comes.
func TestRunTellsHowFarItIs(t *testing.T) {
	t.Parallel()
	r := open(t, desk)
	r.as("coordinator")
	run(r, chromedp.Evaluate[bool](`(() => {
		const status = document.querySelector('form[action="/tomorrow/run"] [role=status]');
		new MutationObserver(() => sessionStorage.setItem("told", status.textContent)).observe(status, {childList: true});
		return true;
	})()`))
	r.send(`form[action="/tomorrow/run"] button`)
	if told := run(r, chromedp.Evaluate[string](`sessionStorage.getItem("told") ?? ""`)); told != "Done." {
		t.Errorf("the last that was told is %q", told)
	}
	if n := r.coop.Calls("RunMatch"); n != 1 {
		t.Errorf("the match was run %d times", n)
	}
}
