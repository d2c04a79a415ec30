package web_test

import (
	"net/http"
	"strings"
	"testing"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

func TestLotChartHasItsLimitsDrawnIn(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/lots/quarry-end-26-41").ok()
	p.says("figcaption", "Compost temperature, °C").says("figure svg text", "58.0").says("figure svg text", "Pasteurisation begun").says("figure tr", "p01 44.0 60.1 59.1 Mon 16 Nov 07:00").
		says("figure li", "62.0 °C Every compost probe at 58 to 62 °C for 4 h")
	lines := all(p.root, "figure path.probe")
	if len(lines) != 4 {
		t.Fatalf("%d lines, want two drawn and two in the key", len(lines))
	}
	if pens := strings.Count(attr(lines[0], "d"), "M"); pens != 1 {
		t.Errorf("the whole probe is drawn with %d strokes", pens)
	}
	if pens := strings.Count(attr(lines[1], "d"), "M"); pens != 2 {
		t.Errorf("the probe with a gap is drawn with %d strokes, want two", pens)
	}
	if n := len(all(p.root, "path.limit")); n != 2 {
		t.Errorf("%d limits drawn, want both ends of the band", n)
	}
	r.coop.Chart = &compostlotv1.LotChart{Series: []*compostlotv1.ChartSeries{
		{ProbeId: "p01", Kind: compostlotv1.ReadingKind_READING_KIND_PH},
		{ProbeId: "a01", Kind: compostlotv1.ReadingKind_READING_KIND_AMMONIA, Seconds: []int64{1_700_000_000}, Least: []int64{5}, Mean: []int64{5}, Most: []int64{5}},
	}}
	one := r.get("/lots/quarry-end-26-41").ok()
	one.says("figcaption", "Ammonia, ppm")
	if n := len(all(one.root, "figure")); n != 1 {
		t.Errorf("%d charts of one reading", n)
	}
	r.coop.Chart = &compostlotv1.LotChart{}
	r.get("/lots/quarry-end-26-41").ok().without("figure")
}

func TestLotLog(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/lots/quarry-end-26-41").ok()
	p.says("ol li", "Wetting Thu 5 Nov 08:00 by Hugh water 4 000.0 kg stack was dry").says("tr", "wheat straw 12 000.0").says("ol li", "Held Fri 6 Nov 08:00 by Hugh: probe fell out").
		says("li.short", "Ammonia 40.0 ppm").says("li.short", "⚠ leave and ventilate")
	wrong := r.submit(p, "/lots/quarry-end-26-41/turn", map[string]string{"water": "much"})
	wrong.says("span.error", "much")
	if wrong.form("/lots/quarry-end-26-41/turn").Get("water") != "much" {
		t.Error("what was typed is gone")
	}
	r.submit(p, "/lots/quarry-end-26-41/turn", map[string]string{"water": "900000"}).says("span.error", "more than the heap weighs")
	for range 2 {
		r.submit(p, "/lots/quarry-end-26-41/turn", map[string]string{"water": "250,5", "note": "second turn"}).ok().says("ol li", "Turning Wed 25 Nov 14:00 by Una water 250.5 kg second turn")
	}
	if turns := r.coop.Reports[0].GetTurns(); len(turns) != 2 {
		t.Errorf("%d turns, want the new one once", len(turns))
	}
}

func TestEntryChecklist(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	r.get("/entry").ok().says(".caution", "Local codes and licensed practice decide").says("tr", "Ammonia 35.0 ppm 15 minutes Short-term limit").says("tr", "Oxygen at least 19.5 % at every moment").without("#gas")
	p := r.get("/entry?place=tunnel&lot=quarry-end-26-41").ok()
	p.says("h1", "Tunnel").says(".checklist", "The fan is locked off.").says("main", "no measurement for going in")
}

func TestWithdrawShowsWhomItTouches(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/slots").ok()
	empty := r.submit(p, "/slots/withdraw", nil)
	if empty.status != http.StatusBadRequest {
		t.Errorf("no notice answered %d", empty.status)
	}
	empty.says("span.error", "at least 1 character")
	done := r.submit(p, "/slots/withdraw", map[string]string{"notice": "The tunnel fan is broken."}).ok()
	done.says(".note", "quarry-end-20261130 is withdrawn").says(".note li", "Alder Brook Farm alder-brook-3-20261207 lost 22.0 t would get 12.0 of 30.0 t quarry-end-20261130 One slot is left in the window.").
		says("p.why", "Withdrawn by Una: The tunnel fan is broken.")
	visit(t, coordinator).get("/slots").ok().without(".stop")
}

func TestPublishSeries(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	typed := map[string]string{
		"slot_id": "quarry-end", "ready_date": "2026-12-15", "capacity_kg": "40000", "request_cutoff": "2026-12-08", "every": "2", "through_date": "2026-12-01",
	}
	wrong := r.submit(r.get("/slots"), "/slots/publish", typed)
	wrong.says("span.error", "lies before the first slot")
	typed["through_date"] = "2027-03-01"
	r.submit(wrong, "/slots/publish", typed).ok().says(".done", "Published.")
	got := r.coop.Series
	if len(got) != 1 || got[0].GetRule() != "FREQ=WEEKLY;INTERVAL=2" || got[0].GetThroughDate() != "2027-03-01" || got[0].GetFirst().GetYardId() != "quarry-end" {
		t.Errorf("published %v", got)
	}
	if r.coop.Calls("PublishSlots") != 0 {
		t.Error("a series was published as a single slot")
	}
}
