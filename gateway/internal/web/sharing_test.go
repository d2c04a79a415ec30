package web_test

import (
	"testing"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
)

func TestHowSlotsAreSharedOut(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	r.get("/slots").ok().says("a", "How slots are shared out")
	p := r.get("/sharing").ok()
	if f := p.form("/sharing/settings"); f.Get("rule") != "satisfied_share" || f.Get("weights") != "member_shares" || f.Get("haul_minor_per_tonne_km") != "0.15" {
		t.Errorf("the form begins with %v", f)
	}
	r.submit(p, "/sharing/settings", map[string]string{"weights": "equal", "haul_minor_per_tonne_km": "0.2"}).ok().says(".done", "Saved.")
	if got := r.coop.ShareSettings; got.GetWeights() != compostlotv1.ShareWeights_SHARE_WEIGHTS_EQUAL || got.GetHaulMinorPerTonneKm() != 20 {
		t.Errorf("saved %v", got)
	}
	stale := r.submit(p, "/sharing/settings", map[string]string{"rule": "equal_awards", "request_id": "0190a1b2-0000-7000-8000-0000000000ff"})
	stale.says(".alert", "Somebody changed this meanwhile")
	if f := stale.form("/sharing/settings"); f.Get("etag") != "v2" || f.Get("rule") != "equal_awards" {
		t.Errorf("sent again it would be %v", f)
	}
}

func TestCostsOfHaul(t *testing.T) {
	t.Parallel()
	r := visit(t, coordinator)
	p := r.get("/sharing").ok()
	const known, other = "quarry-end/alder-brook", "quarry-end/birch-hollow"
	if f := p.form("/sharing/haul"); f.Get("distance."+known) != "20" || f.Get("cost."+known) != "" || f.Get("etag."+known) != "v4" || f.Get("etag."+other) != "" {
		t.Errorf("the form begins with %v", f)
	}
	r.submit(p, "/sharing/haul", map[string]string{"cost." + known: "3"}).says("span.error", "not both")
	r.submit(p, "/sharing/haul", map[string]string{"distance." + other: "90000"}).says("span.error", "less than or equal to 20000")
	r.submit(p, "/sharing/haul", map[string]string{"cost." + other: "much"}).says("span.error", "much")
	done := r.submit(p, "/sharing/haul", map[string]string{"cost." + other: "4.50"}).ok()
	done.says(".done", "Saved.")
	if got := r.coop.Haul; len(got) != 2 || got[0].GetEtag() != "v4" || got[1].GetMinorPerTonne() != 450 {
		t.Errorf("saved %v", got)
	}
	r.coop.Fail("SaveHaulCosts", fault.New(fault.Stale, "CHANGED_MEANWHILE", "The haul was changed by Maeve.").WithField("haul_costs[0].etag", "is not that of the newest version"))
	r.submit(done, "/sharing/haul", map[string]string{"cost." + other: "5"}).says(".alert", "Somebody changed this meanwhile")
}
