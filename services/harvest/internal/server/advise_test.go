package server

import (
	"strings"
	"testing"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

func TestAdviseEnd(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	ctx := testkit.Context(t, coop)
	ask := func(id string) (*harvestv1.AdviseEndResponse, error) {
		return r.AdviseEnd(testkit.Context(t, grower(coop, "alder-brook")), &harvestv1.AdviseEndRequest{CropId: id})
	}
	_, err := ask("ab-1-20261001")
	if fault.FromStatus(err).Reason != ReasonNoCosts {
		t.Errorf("without costs: %v", err)
	}
	save := func(c *harvestv1.CropCosts) (*harvestv1.CropCosts, error) {
		return r.SaveCropCosts(ctx, &harvestv1.SaveCropCostsRequest{RequestId: ids.New(), Costs: c})
	}
	costs := &harvestv1.CropCosts{
		FillMinorPerM2: 900, SpawnMinorPerM2: 250, CasingMinorPerM2: 300, CookOutMinorPerM2: 100, RoomDayMinorPerM2: 6, PickingMinorPerKg: 60, HandlingMinorPerKg: 30,
	}
	saved, err := save(costs)
	if err != nil || saved.GetEtag() == "" {
		t.Fatalf("%v (%v)", saved, err)
	}
	if again, err := save(costs); err != nil || again.GetEtag() != saved.GetEtag() {
		t.Errorf("the same again: %v (%v)", again, err)
	}
	dear := &harvestv1.CropCosts{FillMinorPerM2: 1000}
	if _, err := save(dear); fault.KindOf(err) != fault.Stale {
		t.Errorf("changed without its etag: %v", err)
	}
	_, err = ask("ab-1-20261001")
	if fault.FromStatus(err).Reason != ReasonNoPrice {
		t.Errorf("without a value: %v", err)
	}
	priced := product("white-2kg", "white mushroom")
	priced.Product.PackValueMinor, priced.Version = 600, 2
	r.hear(t, coop, "order", priced)
	r.hear(t, coop, "scheduling", &schedulingv1.CoopSaved{Coop: &schedulingv1.Coop{Name: "Stillwater", TimeZone: "Europe/Dublin", CurrencyCode: "EUR"}, Version: 1})

	resp, err := ask("ab-1-20261001")
	if err != nil {
		t.Fatal(err)
	}
	a := resp.GetAdvice()[0]
	if a.GetPriceMinorPerKg() != 300 || a.GetCurrencyCode() != "EUR" || a.GetFreshMinorPerDay() <= 0 || a.GetFreshBreaks() < 1 || a.GetVerdict() == 0 || a.GetReason() == "" {
		t.Errorf("advice %v", a)
	}
	if a.GetWaitingCostsFromDate() < "2026-11-25" || a.GetClearOnDate() < "2026-11-25" {
		t.Errorf("days that are over: %v", a)
	}
	// (price − picking − handling) × grams − room is what is said of the next break.
	if a.NextMinorPerDay != nil && a.GetNextPickingAndHandlingMinor()*300 != a.GetNextSalesMinor()*90 && a.GetNextSalesMinor() > 0 {
		ratio := float64(a.GetNextPickingAndHandlingMinor()) / float64(a.GetNextSalesMinor())
		if ratio < 0.299 || ratio > 0.301 {
			t.Errorf("picking and handling are %v of sales, want 90/300", ratio)
		}
	}
	// A fresh cycle that costs a fortune is put off; worthless mushrooms are not waited for.
	dear.Etag, dear.FillMinorPerM2, dear.RoomDayMinorPerM2 = saved.GetEtag(), 500_000, 1
	if _, err := save(dear); err != nil {
		t.Fatal(err)
	}
	if resp, err = ask("ab-1-20261001"); err != nil || resp.GetAdvice()[0].GetVerdict() != harvestv1.EndVerdict_END_VERDICT_ANOTHER_BREAK {
		t.Errorf("with a dear fill: %v (%v)", resp, err)
	}
	all, err := ask("")
	if err != nil || len(all.GetAdvice()) != 1 || len(all.GetNotAdvised()) != 1 || !strings.Contains(all.GetNotAdvised()[0].GetReason(), "no break profile") {
		t.Errorf("all of Alder Brook: %v (%v)", all, err)
	}
	_, err = ask("he-1-20261005")
	refused(t, err, fault.Forbidden)
}

// What an incident is expected to spread counts against waiting.
func TestIncidentCountsAgainstWaiting(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	priced := product("white-2kg", "white mushroom")
	priced.Product.PackValueMinor, priced.Version = 600, 2
	r.hear(t, coop, "order", priced, &orderv1.Dispatched{})
	if _, err := r.SaveCropCosts(testkit.Context(t, coop), &harvestv1.SaveCropCostsRequest{RequestId: ids.New(), Costs: &harvestv1.CropCosts{FillMinorPerM2: 900, RoomDayMinorPerM2: 6}}); err != nil {
		t.Fatal(err)
	}
	ask := func(who identity.Identity) *harvestv1.EndAdvice {
		resp, err := r.AdviseEnd(testkit.Context(t, who), &harvestv1.AdviseEndRequest{CropId: "ab-1-20261001"})
		if err != nil {
			t.Fatal(err)
		}
		return resp.GetAdvice()[0]
	}
	sound := ask(coop)
	value, cost := int64(10_000_000), int64(1)
	if _, err := r.report(t, coop, &harvestv1.Incident{
		RoomId: "ab-1", Pest: "sciarid fly", Counts: []*harvestv1.PestCount{{Larvae: 20, SampleGrams: 125}},
		CropValueMinor: &value, ControlCostMinor: &cost, GrowthPerMille: 100,
	}, nil); err != nil {
		t.Fatal(err)
	}
	sick := ask(coop)
	if sound.GetNextIncidentMinor() != 0 || sick.GetNextIncidentMinor() <= 0 || sick.GetNextMinorPerDay() >= sound.GetNextMinorPerDay() {
		t.Errorf("sound %v, with flies %v", sound, sick)
	}
}
