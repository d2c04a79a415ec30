package server

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

// What a farm weighed on a day comes in one answer: every entry in the order recorded, with the
// lots of which they are.
func TestWeighingsOfASpanOfDays(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	first := r.weigh(t, coop, weighing("ab-2", "oyster-1kg", "2026-11-25", 4000, 1000))
	r.weigh(t, coop, weighing("he-1", "white-2kg", "2026-11-25", 7000, 1000))
	r.weigh(t, coop, weighing("ab-1", "white-2kg", "2026-11-25", 3000, 1000))
	r.weigh(t, coop, weighing("ab-1", "white-2kg", "2026-11-24", 9000, 1000))
	_, err := r.CorrectPick(testkit.Context(t, coop), &harvestv1.CorrectPickRequest{
		RequestId: ids.New(), PickId: first.GetPick().GetPickId(), Pick: weighing("ab-2", "oyster-1kg", "2026-11-25", 5000, 1000), Reason: "misread",
	})
	if err != nil {
		t.Fatal(err)
	}
	ab := grower(coop, "alder-brook")
	if _, err := r.RecordDiscard(testkit.Context(t, ab), &harvestv1.RecordDiscardRequest{
		RequestId: ids.New(), Discard: &harvestv1.Discard{PickLotId: "ab-1-white-2kg-20261125", Grams: 500, Reason: harvestv1.DiscardReason_DISCARD_REASON_OTHER, Note: "fell"},
	}); err != nil {
		t.Fatal(err)
	}
	tests := map[string]struct {
		farm, from string // of the grower, and of the span
		gross      []int64
		lots       []string
		discards   int
	}{
		"a grower sees the own farm": {"alder-brook", "2026-11-25", []int64{4000, 3000, 5000}, []string{"ab-1-white-2kg-20261125", "ab-2-oyster-1kg-20261125"}, 1},
		"a span":                     {"alder-brook", "2026-11-24", []int64{4000, 3000, 9000, 5000}, []string{"ab-1-white-2kg-20261124", "ab-1-white-2kg-20261125", "ab-2-oyster-1kg-20261125"}, 1},
		"another farm":               {"hill-end", "2026-11-25", []int64{7000}, []string{"he-1-white-2kg-20261125"}, 0},
		"the office sees all":        {"", "2026-11-25", []int64{4000, 7000, 3000, 5000}, []string{"ab-1-white-2kg-20261125", "ab-2-oyster-1kg-20261125", "he-1-white-2kg-20261125"}, 1},
	}
	for name, tt := range tests {
		who := coop
		if tt.farm != "" {
			who = grower(coop, tt.farm)
		}
		got, err := r.ListPicks(testkit.Context(t, who), &harvestv1.ListPicksRequest{FromDate: tt.from, ToDate: "2026-11-25"})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		var gross []int64
		for _, p := range got.GetPicks() {
			gross = append(gross, p.GetGrossGrams())
		}
		var lots []string
		for _, l := range got.GetPickLots() {
			lots = append(lots, l.GetPickLotId())
		}
		if diff := cmp.Diff(tt.gross, gross) + cmp.Diff(tt.lots, lots); diff != "" || len(got.GetDiscards()) != tt.discards {
			t.Errorf("%s, %d discards:\n%s", name, len(got.GetDiscards()), diff)
		}
	}
	one, err := r.ListPicks(testkit.Context(t, coop), &harvestv1.ListPicksRequest{FromDate: "2026-11-25", ToDate: "2026-11-25", FarmId: "hill-end"})
	if err != nil || len(one.GetPicks()) != 1 || one.GetPicks()[0].GetRoomId() != "he-1" {
		t.Errorf("the office asks for a farm: %v (%v)", one, err)
	}
	_, err = r.ListPicks(testkit.Context(t, ab), &harvestv1.ListPicksRequest{FromDate: "2026-11-25", ToDate: "2026-11-25", FarmId: "hill-end"})
	refused(t, err, fault.Forbidden)
	_, err = r.ListPicks(testkit.Context(t, ab), &harvestv1.ListPicksRequest{PickLotId: "he-1-white-2kg-20261125"})
	refused(t, err, fault.Forbidden)
	none, err := r.ListPicks(testkit.Context(t, testkit.Coop()), &harvestv1.ListPicksRequest{FromDate: "2026-11-25", ToDate: "2026-11-25"})
	if err != nil || len(none.GetPicks())+len(none.GetPickLots()) != 0 {
		t.Errorf("another co-op sees %v (%v)", none, err)
	}
	for field, bad := range map[string]*harvestv1.ListPicksRequest{
		"pick_lot_id": {},
		"from_date":   {FromDate: "2026-02-30", ToDate: "2026-03-01"},
		"to_date":     {FromDate: "2026-11-18", ToDate: "2026-11-25"},
	} {
		_, err := r.ListPicks(testkit.Context(t, coop), bad)
		refused(t, err, fault.Invalid, field)
	}
	_, err = r.ListPicks(testkit.Context(t, coop), &harvestv1.ListPicksRequest{PickLotId: "ab-1-white-2kg-20261125", FarmId: "alder-brook"})
	refused(t, err, fault.Invalid, "pick_lot_id")
}
