package web_test

import (
	"net/http"
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
)

func TestCompostAskedForAndGot(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	p := r.get("/compost").ok()
	p.says("li", "House 3 Mon 7 Dec – Wed 9 Dec 30.0 t asked").without("section p b")
	if n := len(all(p.root, "section li")); n != 1 {
		t.Errorf("%d requests, want the farm's own", n)
	}
	wide := r.get("/compost?request=alder-brook-3-20261207&earliest=2026-12-07&latest=2026-12-16").ok()
	wide.says("p", "With these days it would get 26.0 of 30.0 t.").says("span.code", "quarry-end-20261207")
	r.get("/compost?request=alder-brook-3-20261207&earliest=2026-12-07&latest=2026-12-08").ok().says("p", "it would get 18.0 of 30.0 t.").says("p.why", "Every slot inside the window is full.")
	if got := r.get("/compost?request=alder-brook-3-20261207&earliest=soon").status; got != http.StatusBadRequest {
		t.Errorf("no day answers %d", got)
	}
	if got := visit(t, coordinator).get("/compost").status; got != http.StatusForbidden {
		t.Errorf("nobody's farm answers %d", got)
	}
}

func TestAskForAPlannedCrop(t *testing.T) {
	t.Parallel()
	r := visit(t, grower, func(c *fakecoop.Coop) {
		for _, crop := range c.Crops {
			if crop.GetFarmId() == "alder-brook" {
				crop.FillDate, crop.FreeDate = "2026-12-15", "2027-03-01"
			}
		}
	})
	p := r.get("/compost").ok()
	before := len(all(p.root, "details.card"))
	if before == 0 {
		t.Fatal("no planned crop is listed")
	}
	wrong := r.submit(p, "/compost/crop", map[string]string{"smallest_useful_kg": "90000"})
	wrong.says("span.error", "more than the crop needs")
	done := r.submit(wrong, "/compost/crop", map[string]string{"smallest_useful_kg": "15000", "days_late": "5"}).ok()
	done.says(".done", "Asked.").says("li", "22.0 t asked")
	if after := len(all(done.root, "details.card")); after != before-1 {
		t.Errorf("%d crops wait, %d before", after, before)
	}
}
