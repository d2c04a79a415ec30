package server

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

func weighed(roomID, productID, date string, gross, tare int64) *harvestv1.Pick {
	return &harvestv1.Pick{RoomId: roomID, ProductId: productID, Date: date, GrossGrams: gross, TareGrams: tare, Crates: 4, Picker: "Jo"}
}

func batchOf(list ...*harvestv1.Pick) *harvestv1.BatchRecordPicksRequest {
	return &harvestv1.BatchRecordPicksRequest{RequestId: ids.New(), Picks: list}
}

// record records picks and returns their lots.
func (r *rig) record(t testing.TB, who identity.Identity, list ...*harvestv1.Pick) []*harvestv1.PickLot {
	t.Helper()
	resp, err := r.BatchRecordPicks(testkit.Context(t, who), batchOf(list...))
	if err != nil {
		t.Fatal(err)
	}
	return resp.GetPickLots()
}

func TestRecordPickAddsToItsLot(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	ida := grower(coop, "alder-brook")
	r.push(t, ida, expect("ab-1", "white-2kg", "2026-11-26", 1000, 20000, 30000))
	second := int32(2)
	given := weighed("ab-1", "white-2kg", "2026-11-26", 12500, 500)
	given.BreakNumber = &second
	req := &harvestv1.RecordPickRequest{RequestId: ids.New(), Pick: given}
	first, err := r.RecordPick(testkit.Context(t, ida), req)
	if err != nil {
		t.Fatal(err)
	}
	wantPick := &harvestv1.Pick{
		PickId: first.GetPick().GetPickId(), RoomId: "ab-1", ProductId: "white-2kg", Date: "2026-11-26", GrossGrams: 12500, TareGrams: 500,
		Crates: 4, Picker: "Jo", BreakNumber: &second, RecordedAt: timestamppb.New(noon), RecordedBy: "Ida of alder-brook",
	}
	wantLot := &harvestv1.PickLot{
		PickLotId: "ab-1-white-2kg-20261126", FarmId: "alder-brook", RoomId: "ab-1", CropId: "ab-1-20261001",
		ProductId: "white-2kg", Date: "2026-11-26", NetGrams: 12000, Picks: 1, Version: 2,
	}
	if diff := cmp.Diff(&harvestv1.RecordPickResponse{Pick: wantPick, PickLot: wantLot}, first, protocmp.Transform()); diff != "" {
		t.Errorf("first pick (-want +got):\n%s", diff)
	}
	if !ids.Valid(first.GetPick().GetPickId()) {
		t.Errorf("pick id %q", first.GetPick().GetPickId())
	}
	again, err := r.RecordPick(testkit.Context(t, ida), req)
	if err != nil || !cmp.Equal(first, again, protocmp.Transform()) {
		t.Errorf("sent again: %v, %v", again, err)
	}

	// Two more weighings of the lot and one of another, in one request.
	lots := r.record(t, coop, weighed("ab-1", "white-2kg", "2026-11-26", 5000, 500), weighed("ab-2", "oyster-1kg", "2026-11-26", 900, 100), weighed("ab-1", "white-2kg", "2026-11-26", 3000, 500))
	if len(lots) != 2 || lots[0].GetNetGrams() != 19000 || lots[0].GetVersion() != 4 || lots[1].GetNetGrams() != 800 {
		t.Errorf("lots after the batch: %v", lots)
	}
	var net, versions []int64
	for _, m := range r.told(t, coop) {
		if e, ok := m.(*harvestv1.PickRecorded); ok && e.GetPickLot().GetRoomId() == "ab-1" {
			net, versions = append(net, e.GetPickLot().GetNetGrams()), append(versions, e.GetPickLot().GetVersion())
		}
	}
	if diff := cmp.Diff([][]int64{{12000, 16500, 19000}, {2, 3, 4}}, [][]int64{net, versions}); diff != "" {
		t.Errorf("each weighing tells of its lot after it (-want +got):\n%s", diff)
	}
	supply, err := r.GetSupply(testkit.Context(t, coop), &harvestv1.GetSupplyRequest{FromDate: "2026-11-26", ToDate: "2026-11-26"})
	if err != nil || len(supply.GetDays()) != 2 {
		t.Fatalf("supply %v, %v", supply, err)
	}
	oyster, white := supply.GetDays()[0], supply.GetDays()[1]
	if white.GetPickedGrams() != 19000 || white.GetLikelyGrams() != 20000 || len(white.GetRooms()) != 1 || oyster.GetPickedGrams() != 800 || len(oyster.GetRooms()) != 0 {
		t.Errorf("supply %v", supply)
	}
}

func TestPicksAreRefusedNamingTheField(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	ctx := testkit.Context(t, coop)
	good := weighed("ab-1", "white-2kg", "2026-11-26", 2000, 100)
	for field, pick := range map[string]*harvestv1.Pick{
		"tare_grams":  weighed("ab-1", "white-2kg", "2026-11-26", 500, 500),
		"date":        weighed("ab-1", "white-2kg", "2026-09-30", 2000, 100),
		"product_id":  weighed("ab-1", "oyster-1kg", "2026-11-26", 2000, 100),
		"room_id":     weighed("ab-7", "white-2kg", "2026-11-26", 2000, 100),
		"gross_grams": weighed("ab-1", "white-2kg", "2026-11-26", 0, -1),
	} {
		paths := []string{"." + field}
		if field == "gross_grams" {
			paths = append(paths, ".tare_grams")
		}
		_, err := r.RecordPick(ctx, &harvestv1.RecordPickRequest{RequestId: ids.New(), Pick: pick})
		refused(t, err, fault.Invalid, under("pick", paths)...)
		_, err = r.BatchRecordPicks(ctx, batchOf(good, pick))
		refused(t, err, fault.Invalid, under("picks[1]", paths)...)
	}
	_, err := r.RecordPick(testkit.Context(t, grower(coop, "hill-end")), &harvestv1.RecordPickRequest{RequestId: ids.New(), Pick: good})
	refused(t, err, fault.Forbidden, "pick.room_id")
	if got := r.names(t, coop); len(got) != 0 {
		t.Errorf("refused picks told %q", got)
	}
}

func under(path string, fields []string) []string {
	out := make([]string, len(fields))
	for i, f := range fields {
		out[i] = path + f
	}
	return out
}

// What was weighed stays as it was weighed.
func TestWeighingsAreAppendOnly(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.record(t, coop, weighed("ab-1", "white-2kg", "2026-11-26", 2000, 100))
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3))
	for _, sql := range []string{`UPDATE pick SET gross_grams = 1`, `DELETE FROM pick`, `UPDATE expected_pick_version SET likely_grams = 2`, `DELETE FROM expected_pick_version`} {
		if err := r.exec(t, coop, sql); err == nil {
			t.Errorf("%s went through", sql)
		}
	}
}

// Two co-ops with the same names for everything see nothing of one another.
func TestCoopsAreApart(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	one, two := r.settle(t), r.settle(t)
	r.push(t, one, expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3))
	r.record(t, one, weighed("ab-1", "white-2kg", "2026-11-26", 2000, 100))
	ctx := testkit.Context(t, two)
	list, err := r.ListExpectedPicks(ctx, &harvestv1.ListExpectedPicksRequest{FromDate: "2026-11-01", ToDate: "2026-11-30"})
	if err != nil || len(list.GetExpectedPicks()) != 0 {
		t.Errorf("the other co-op's pushes show: %v, %v", list, err)
	}
	lots, err := r.ListPickLots(ctx, &harvestv1.ListPickLotsRequest{FromDate: "2026-11-01", ToDate: "2026-11-30"})
	if err != nil || len(lots.GetPickLots()) != 0 {
		t.Errorf("the other co-op's lots show: %v, %v", lots, err)
	}
	_, err = r.TraceBack(ctx, &harvestv1.TraceBackRequest{PickLotId: "ab-1-white-2kg-20261126"})
	refused(t, err, fault.NotFound)
	if got := r.push(t, two, expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3)); got[0].GetVersion() != 1 {
		t.Errorf("the other co-op's push counts on: %v", got)
	}
}

func TestSpansAreChecked(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	ctx := testkit.Context(t, testkit.Coop())
	for _, tt := range []struct{ from, to, field string }{
		{"2026-02-30", "2026-03-01", "from_date"},
		{"2026-02-01", "2026-02-30", "to_date"},
		{"2026-03-02", "2026-03-01", "to_date"},
		{"2026-01-01", "2026-12-31", "to_date"},
	} {
		_, err := r.GetSupply(ctx, &harvestv1.GetSupplyRequest{FromDate: tt.from, ToDate: tt.to})
		refused(t, err, fault.Invalid, tt.field)
		_, err = r.ListPickLots(ctx, &harvestv1.ListPickLotsRequest{FromDate: tt.from, ToDate: tt.to})
		refused(t, err, fault.Invalid, tt.field)
		_, err = r.ListExpectedPicks(ctx, &harvestv1.ListExpectedPicksRequest{FromDate: tt.from, ToDate: tt.to})
		refused(t, err, fault.Invalid, tt.field)
	}
}
