package web_test

import (
	"net/http"
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

const lineOf = "/line?day=2026-11-26&match=m-1&order=harbour-light-20261126&product=white-closed-2kg"

func TestLineIsExplained(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	day := r.get("/tomorrow").ok()
	day.says("p.why", "One pack more would be worth 9.00 EUR, which is 4.50 EUR per kg. 3.4 kg more can be promised").says("table tr", "Nobody ordered more of it.")
	found := false
	for _, a := range all(day.root, "li.short a") {
		found = found || attr(a, "href") == lineOf
	}
	if !found {
		t.Error("the short line leads nowhere")
	}
	p := r.get(lineOf).ok()
	p.says("h1", "Harbour Light : White closed cups, 2 kg").says(".lead", "6 of 30 packs, 24 short").says("li", "20 packs : went to customers of a higher class").says("li", "4 packs : likely, but not sure enough to promise").
		says("p", "One pack more of it would have been worth 9.00 EUR").says("li", "Alder Brook Farm alder-brook-1-white-closed-2kg-20261126 6 packs")
	r.accept = "de"
	r.get(lineOf).ok().says("li", "gingen an Kunden höherer Klasse")
	if p := r.get("/line?match=m-1&order=nobody&product=white-closed-2kg"); p.status != http.StatusNotFound {
		t.Errorf("a line that is none answered %d", p.status)
	}
}

func TestPinNeedsAReasonAndShowsItsCost(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get(lineOf).ok()
	wrong := r.submit(p, "/line/pin", map[string]string{"packs": "10"})
	if wrong.status != http.StatusBadRequest || len(r.coop.Pins) != 0 {
		t.Errorf("without a reason answered %d", wrong.status)
	}
	wrong.says("span.error", "Say why")
	if wrong.form("/line/pin").Get("packs") != "10" {
		t.Error("what was typed is gone")
	}
	r.submit(wrong, "/line/pin", map[string]string{"packs": "99", "reason": "wedding"}).says("span.error", "only 36 packs")
	for range 2 {
		done := r.submit(wrong, "/line/pin", map[string]string{"packs": "10", "reason": "wedding"}).ok()
		done.says(".note", "It costs 18.00 EUR").says(".note tr", "The Copper Pan White closed cups, 2 kg 30 26").says(".row", "White closed cups, 2 kg harbour-light-20261126 10 packs by Una")
	}
	if len(r.coop.Pins) != 1 || r.coop.Pins[0].GetKind() != orderv1.PinKind_PIN_KIND_PACKS || r.coop.Pins[0].GetReason() != "wedding" {
		t.Errorf("pins %v, want one", r.coop.Pins)
	}
	day := r.get("/tomorrow?day=2026-11-26").ok()
	day.says("h2", "Decided by hand 1").says("p.why", "wedding")
	r.submit(day, "/line/unpin", nil).ok()
	if len(r.coop.Pins) != 0 {
		t.Errorf("pins %v, want none", r.coop.Pins)
	}
}

func TestForbidAndRaise(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get(lineOf).ok()
	for kind, typed := range map[string]map[string]string{"forbid": {"farm_id": "birch-hollow"}, "raise": {"priority_class": "1"}} {
		form := p.form("/line/pin")
		form.Set("form", kind)
		form.Del("packs")
		form.Set("farm_id", "")
		form.Set("reason", "as the chef asked")
		form.Set("request_id", map[string]string{"forbid": "0190a1b2-0000-7000-8000-0000000000a1", "raise": "0190a1b2-0000-7000-8000-0000000000a2"}[kind])
		for name, value := range typed {
			form.Set(name, value)
		}
		r.post("/line/pin", form).ok().says(".note", "It costs")
	}
	kinds := map[orderv1.PinKind]*orderv1.Pin{}
	for _, pin := range r.coop.Pins {
		kinds[pin.GetKind()] = pin
	}
	if kinds[orderv1.PinKind_PIN_KIND_FORBID].GetFarmId() != "birch-hollow" || kinds[orderv1.PinKind_PIN_KIND_RAISE].GetPriorityClass() != 1 {
		t.Errorf("pins %v", r.coop.Pins)
	}
	r.get(lineOf).ok().says(".row", "nothing from · Birch Hollow by Una").says(".row", "served in class 1")
}

// One lot can be kept from a line, too.
func TestForbidALot(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	form := r.get(lineOf).ok().says("optgroup", "Alder Brook Farm, alder-brook-1-white-closed-2kg-20261126").form("/line/pin")
	form.Set("form", "forbid")
	form.Del("packs")
	form.Set("farm_id", "lot:alder-brook-1-white-closed-2kg-20261126")
	form.Set("reason", "picked wet")
	r.post("/line/pin", form).ok().says(".row", "nothing from · alder-brook-1-white-closed-2kg-20261126 by Una")
	if pin := r.coop.Pins[0]; pin.GetFarmId() != "" || pin.GetPickLotId() != "alder-brook-1-white-closed-2kg-20261126" {
		t.Errorf("pinned %v", pin)
	}
}

func TestRebalanceShowsOnlyTheChanges(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	for _, f := range all(r.get("/tomorrow").ok().root, "form") {
		if attr(f, "action") == "/tomorrow/rebalance" {
			t.Error("a match that binds nobody is offered to be rebalanced")
		}
	}
	confirmed := r.submit(r.get("/tomorrow"), "/tomorrow/confirm", nil).ok()
	p := r.submit(confirmed, "/tomorrow/rebalance", nil).ok()
	p.says("li", "Harbour Light , White closed cups, 2 kg alder-brook-1-white-closed-2kg-20261126 : 6 → 4 packs").says("li", "+ 3 packs, new").says("li", "✗ no longer 2 packs").without("svg.bars")
	if p.form("/tomorrow/confirm").Get("match_id") != "m-2" {
		t.Error("it is not the new match that would be confirmed")
	}
	r.coop.Calm = true
	r.submit(confirmed, "/tomorrow/rebalance", nil).ok().says("main", "Nothing changes")
	none := visit(t, coordinator, func(c *fakecoop.Coop) { c.Match = nil })
	form := confirmed.form("/tomorrow/rebalance")
	none.post("/tomorrow/rebalance", form).says(".alert", "No match of the day is confirmed.")
}
