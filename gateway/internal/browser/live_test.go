package browser

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestOperatorRetries takes in a dead letter, with scripts and without.
func TestOperatorRetries(t *testing.T) {
	t.Parallel()
	everywhere(t, func(t *testing.T, s screen) {
		r := open(t, s)
		r.as("operator")
		if got := r.text("#letters ~ .rows"); !strings.Contains(got, "no such product") {
			t.Errorf("the page says %q", got)
		}
		r.send(`form[action="/health/retry"] button`)
		if got := r.text(".done"); !strings.Contains(got, "The event was taken in.") {
			t.Errorf("the page says %q", got)
		}
		if len(r.coop.Dead["order"]) != 0 {
			t.Error("it is still dead")
		}
	})
}

// queue is true where order's reading of the picks says something.
func queue(says string) string {
	return `[...document.querySelectorAll("[data-part=queues] li")].some(li => li.textContent.startsWith("Orders") && li.textContent.includes("reads Picks") && li.textContent.includes("` + says + `"))`
}

// TestHealthChangesByItself: what happens while the page is looked at is shown, without moving
// what has the focus.
func TestHealthChangesByItself(t *testing.T) {
	t.Parallel()
	r := open(t, desk)
	r.as("operator")
	r.eventually("the page says as of when it is", `document.querySelector(".fresh").textContent === "Up to date at 14:00 UTC"`)
	r.coop.Change(func() { r.coop.Standings["order"].Readings[0].LastSequence = 121 })
	r.eventually("the queue is empty", queue("0 events behind"))

	r.do(chromedp.Focus(chromedp.CSS(`form[action="/health/retry"] button`)))
	r.coop.Change(func() { r.coop.Dead["order"][0].Reason = "the store was full" })
	r.coop.Change(func() { r.coop.Standings["order"].LastSequence = 8 })
	// The queues change as well, so that the letters are known to have been held back.
	r.coop.Change(func() { r.coop.Standings["order"].Readings[0].LastSequence = 119 })
	r.eventually("the queue grew", queue("2 events behind"))
	if !run(r, chromedp.Evaluate[bool](`document.activeElement.matches('form[action="/health/retry"] button') && document.querySelector("[data-part=letters]").textContent.includes("no such product")`)) {
		t.Error("what had the focus was replaced")
	}
	run(r, chromedp.Evaluate[bool](`(document.activeElement.blur(), true)`))
	r.eventually("the letter is shown anew", `document.querySelector("[data-part=letters]").textContent.includes("the store was full")`)
}

// TestTomorrowSaysThatItIsBehind: an order comes in while the page is looked at.
func TestTomorrowSaysThatItIsBehind(t *testing.T) {
	t.Parallel()
	r := open(t, desk)
	r.as("coordinator")
	r.send(`form[action="/tomorrow/run"] button`)
	r.eventually("the page is kept up to date", `document.querySelector(".fresh").textContent.startsWith("Up to date")`)
	before := run(r, chromedp.Evaluate[string](`document.querySelector("[data-part=news]").textContent`))
	r.coop.Change(func() { r.coop.Orders[0].Lines[0].Packs += 7 })
	r.eventually("the change is told", `document.querySelector("[data-part=news]").textContent.includes("changed since the match was run") && document.querySelector("[data-part=news]").textContent !== `+"`"+before+"`")
	if top := run(r, chromedp.Evaluate[float64](`scrollY`)); top != 0 {
		t.Errorf("the page moved to %v", top)
	}
}
