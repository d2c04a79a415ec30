package web_test

import (
	"testing"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
)

func TestColdStoresAreReadAndLotsDiscarded(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	r.submit(r.get("/cold").ok(), "/cold/store", map[string]string{"store_id": "alder-brook-cold-2", "name": "Cold room 2"}).ok().says(".done", "saved")
	p := r.get("/cold").ok()
	r.submit(p, "/cold/read", map[string]string{"degrees": "-0,4"}).ok().says(".done", "written down")
	r.submit(p, "/cold/read", map[string]string{"degrees": "cold"}).says(".error", "cold")
	r.submit(p, "/cold/discard", map[string]string{"grams": "1.5", "reason": "DISCARD_REASON_DAMAGE"}).ok().says(".done", "Discarded")
	r.submit(r.get("/cold").ok(), "/cold/discard", map[string]string{"grams": "15", "reason": "DISCARD_REASON_DAMAGE"}).says(".error", "left")
	if n := len(r.coop.Cold); n != 1 || r.coop.Cold[0].GetName() != "Cold room 2" {
		t.Errorf("saved %v", r.coop.Cold)
	}
	if n := len(r.coop.StoreReadings); n != 1 || r.coop.StoreReadings[0].GetReadings()[0].GetAirTenthsC() != -4 {
		t.Errorf("read %v", r.coop.StoreReadings)
	}
	if n := len(r.coop.Discards); n != 1 || r.coop.Discards[0].GetGrams() != 1500 || r.coop.Discards[0].GetReason() != harvestv1.DiscardReason_DISCARD_REASON_DAMAGE {
		t.Errorf("discarded %v", r.coop.Discards)
	}
}

func TestWeighedIntoAStore(t *testing.T) {
	t.Parallel()
	r := visit(t, grower)
	r.submit(r.get("/pick").ok(), "/pick/weigh", map[string]string{"gross_grams": "9", "tare_grams": "1", "crates": "2", "store_id": "alder-brook-cold"}).ok()
	if n := len(r.coop.Picks); n == 0 || r.coop.Picks[n-1].GetStoreId() != "alder-brook-cold" {
		t.Errorf("picked %v", r.coop.Picks)
	}
}
