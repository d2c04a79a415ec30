package server

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

// weigh records a weighing of today and returns its answer.
func (r *rig) weigh(t *testing.T, who identity.Identity, p *harvestv1.Pick) *harvestv1.RecordPickResponse {
	t.Helper()
	resp, err := r.RecordPick(testkit.Context(t, who), &harvestv1.RecordPickRequest{RequestId: ids.New(), Pick: p})
	if err != nil {
		t.Fatal(err)
	}
	return resp
}

func weighing(roomID, productID, date string, gross, tare int64) *harvestv1.Pick {
	return &harvestv1.Pick{RoomId: roomID, ProductId: productID, Date: date, GrossGrams: gross, TareGrams: tare, Crates: 2, Picker: "Mara"}
}

// A correction is an entry of its own, in the place of the one before it.
func TestCorrectionsAreNewEntries(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	ctx := testkit.Context(t, grower(coop, "alder-brook"))
	r.weigh(t, coop, weighing("ab-1", "white-2kg", "2026-11-25", 3000, 1000))
	wrong := r.weigh(t, coop, weighing("ab-1", "white-2kg", "2026-11-25", 60000, 1000)).GetPick()
	correct := func(id string, p *harvestv1.Pick) (*harvestv1.CorrectPickResponse, error) {
		return r.CorrectPick(ctx, &harvestv1.CorrectPickRequest{RequestId: ids.New(), PickId: id, Pick: p, Reason: "a nought too many"})
	}
	right, err := correct(wrong.GetPickId(), weighing("ab-1", "white-2kg", "2026-11-25", 6000, 1000))
	if err != nil || right.GetPickLot().GetNetGrams() != 7000 || right.GetPick().GetCorrectsPickId() != wrong.GetPickId() {
		t.Fatalf("%v (%v)", right, err)
	}
	if by := right.GetPick().GetRecordedBy(); by == "" || by == wrong.GetRecordedBy() {
		t.Errorf("recorded by %q, corrected by %q", wrong.GetRecordedBy(), by)
	}
	if _, err := correct(wrong.GetPickId(), weighing("ab-1", "white-2kg", "2026-11-25", 5000, 1000)); fault.FromStatus(err).Reason != ReasonCorrectedAlready {
		t.Errorf("the same weighing corrected twice: %v", err)
	}
	_, err = correct(right.GetPick().GetPickId(), weighing("ab-2", "white-2kg", "2026-11-25", 5000, 6000))
	refused(t, err, fault.Invalid, "pick.tare_grams", "pick.room_id")
	gone, err := correct(right.GetPick().GetPickId(), nil)
	if err != nil || gone.GetPickLot().GetNetGrams() != 2000 || gone.GetPick().GetGrossGrams() != 0 {
		t.Fatalf("withdrawn: %v (%v)", gone, err)
	}
	list, err := r.ListPicks(ctx, &harvestv1.ListPicksRequest{PickLotId: "ab-1-white-2kg-20261125"})
	if err != nil {
		t.Fatal(err)
	}
	var gross []int64
	for _, p := range list.GetPicks() {
		gross = append(gross, p.GetGrossGrams())
	}
	if !cmp.Equal(gross, []int64{3000, 60000, 6000, 0}) {
		t.Errorf("written down are %v", gross)
	}
	if got := r.names(t, coop); len(got) != 4 {
		t.Errorf("told %q", got)
	}
	_, err = r.CorrectPick(testkit.Context(t, grower(coop, "hill-end")), &harvestv1.CorrectPickRequest{RequestId: ids.New(), PickId: wrong.GetPickId(), Reason: "x"})
	refused(t, err, fault.Forbidden)
	if _, err := correct(ids.New(), nil); fault.KindOf(err) != fault.NotFound {
		t.Errorf("a weighing that is none: %v", err)
	}
}

func TestSortedWeighingsAndTheBreak(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	p := weighing("ab-1", "white-2kg", "2026-11-09", 6000, 1000)
	p.Parts = []*harvestv1.PickPart{
		{PickStage: typev1.PickStage_PICK_STAGE_CLOSED, Grade: "I", Grams: 4000}, {PickStage: typev1.PickStage_PICK_STAGE_OPEN, Grade: "II", Grams: 1000},
	}
	// Cased on 21 October, a crop is in its first break 19 days later.
	got := r.weigh(t, coop, p).GetPick()
	if got.GetBreakNumber() != 1 || !got.GetBreakProposed() {
		t.Errorf("break %d, proposed %v", got.GetBreakNumber(), got.GetBreakProposed())
	}
	list, err := r.ListPicks(testkit.Context(t, coop), &harvestv1.ListPicksRequest{PickLotId: "ab-1-white-2kg-20261109"})
	if err != nil || !cmp.Equal(list.GetPicks()[0], got, protocmp.Transform()) {
		t.Errorf("read back %v (%v)", list, err)
	}
	two := int32(2)
	p.BreakNumber = &two
	if got := r.weigh(t, coop, p).GetPick(); got.GetBreakNumber() != 2 || got.GetBreakProposed() {
		t.Errorf("the picker says 2: %v", got)
	}
	p.Parts[0].Grams = 4001
	_, err = r.RecordPick(testkit.Context(t, coop), &harvestv1.RecordPickRequest{RequestId: ids.New(), Pick: p})
	refused(t, err, fault.Invalid, "pick.parts")
}

func TestDiscards(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.weigh(t, coop, weighing("ab-1", "white-2kg", "2026-11-25", 9000, 1000))
	discard := func(who identity.Identity, grams int64, reason harvestv1.DiscardReason, note string) (*harvestv1.RecordDiscardResponse, error) {
		return r.RecordDiscard(testkit.Context(t, who), &harvestv1.RecordDiscardRequest{RequestId: ids.New(), Discard: &harvestv1.Discard{
			PickLotId: "ab-1-white-2kg-20261125", Grams: grams, Reason: reason, Note: note,
		}})
	}
	got, err := discard(grower(coop, "alder-brook"), 3000, harvestv1.DiscardReason_DISCARD_REASON_DISEASE, "")
	if err != nil || got.GetPickLot().GetNetGrams() != 5000 || got.GetPickLot().GetDiscardedGrams() != 3000 {
		t.Fatalf("%v (%v)", got, err)
	}
	if _, ok := r.told(t, coop)[1].(*harvestv1.StockChanged); !ok {
		t.Errorf("told %q", r.names(t, coop))
	}
	_, err = discard(coop, 5001, harvestv1.DiscardReason_DISCARD_REASON_AGE, "")
	refused(t, err, fault.Precondition, "discard.grams")
	_, err = discard(coop, 1, harvestv1.DiscardReason_DISCARD_REASON_OTHER, " ")
	refused(t, err, fault.Invalid, "discard.note")
	_, err = discard(grower(coop, "hill-end"), 1, harvestv1.DiscardReason_DISCARD_REASON_AGE, "")
	refused(t, err, fault.Forbidden)
	supply, err := r.GetSupply(testkit.Context(t, coop), &harvestv1.GetSupplyRequest{FromDate: "2026-11-25", ToDate: "2026-11-25"})
	if err != nil || supply.GetDays()[0].GetPickedGrams() != 5000 {
		t.Errorf("supply %v (%v)", supply, err)
	}
}

// Two lots in one store, the older first. Fresh mushrooms keep by the published
// table of UC Davis Postharvest; a store that was warm for a day leaves less.
func TestColdStock(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	ctx := testkit.Context(t, grower(coop, "alder-brook"))
	if _, err := r.SaveColdStore(ctx, &harvestv1.SaveColdStoreRequest{RequestId: ids.New(), Store: &harvestv1.ColdStore{StoreId: "ab-cold", FarmId: "alder-brook", Name: "Cold room"}}); err != nil {
		t.Fatal(err)
	}
	stored := func(roomID, date string, gross int64) *harvestv1.Pick {
		p := weighing(roomID, "white-2kg", date, gross, 1000)
		p.StoreId = "ab-cold"
		return p
	}
	_, err := r.RecordPick(testkit.Context(t, coop), &harvestv1.RecordPickRequest{RequestId: ids.New(), Pick: stored("he-1", "2026-11-25", 9000)})
	refused(t, err, fault.Invalid, "pick.store_id")
	r.weigh(t, coop, stored("ab-1", "2026-11-24", 11000)) // written down a day later
	r.weigh(t, coop, stored("ab-1", "2026-11-25", 6000))
	r.weigh(t, coop, weighing("he-1", "white-2kg", "2026-11-23", 5000, 1000))
	r.hear(t, coop, "order", &orderv1.Dispatched{Note: &orderv1.DispatchNote{DispatchId: "d1", Lines: []*orderv1.DispatchLine{
		{PickLotId: "ab-1-white-2kg-20261124", ProductId: "white-2kg", Packs: 2}, {PickLotId: "ab-1-white-2kg-20261124", ProductId: "white-2kg", Packs: 1},
		{PickLotId: "he-1-white-2kg-20261123", ProductId: "white-2kg", Packs: 2},
	}}})
	read := func(at time.Time, tenths int32) *harvestv1.StoreState {
		t.Helper()
		resp, err := r.RecordStoreReadings(ctx, &harvestv1.RecordStoreReadingsRequest{
			RequestId: ids.New(), StoreId: "ab-cold", Readings: []*harvestv1.StoreReading{{Time: timestamppb.New(at), AirTenthsC: tenths}},
		})
		if err != nil {
			t.Fatal(err)
		}
		return resp.GetState()
	}
	if s := read(noon.Add(-24*time.Hour), 10); s.GetCondition() != harvestv1.StoreCondition_STORE_CONDITION_BEST || s.GetWarning() != "" {
		t.Errorf("at 1 °C: %v", s)
	}
	get := func() *harvestv1.GetColdStockResponse {
		t.Helper()
		resp, err := r.GetColdStock(testkit.Context(t, coop), &harvestv1.GetColdStockRequest{})
		if err != nil {
			t.Fatal(err)
		}
		return resp
	}
	cold := get()
	var codes []string
	for _, l := range cold.GetLots() {
		codes = append(codes, l.GetPickLot().GetPickLotId())
	}
	if !cmp.Equal(codes, []string{"ab-1-white-2kg-20261124", "ab-1-white-2kg-20261125"}) {
		t.Fatalf("in store are %q: the one dispatched whole is not", codes)
	}
	old := cold.GetLots()[0]
	if old.GetLeftGrams() != 4000 || old.GetAgeHours() != 24 || old.GetAssumedTemperature() || old.GetRemainingHours() != 4*24 {
		t.Errorf("10 kg less three packs of 2 kg, a day old at 1 °C of the five to seven that it keeps: %v", old)
	}
	if s := cold.GetStores()[0]; s.GetHeatWatts() < 1 {
		t.Errorf("9 kg give off %d W", s.GetHeatWatts())
	}
	r.clock.Advance(24 * time.Hour)
	s := read(noon.Add(time.Hour), 150)
	if s.GetCondition() != harvestv1.StoreCondition_STORE_CONDITION_WARM || s.GetWarning() == "" || !s.GetOutOfRangeSince().AsTime().Equal(noon.Add(time.Hour)) {
		t.Errorf("at 15 °C: %v", s)
	}
	warm := get().GetLots()[0]
	if warm.GetAgeHours() != 48 || warm.GetRemainingHours() >= old.GetRemainingHours()/2 {
		t.Errorf("a day at 15 °C later %d hours are left, before %d", warm.GetRemainingHours(), old.GetRemainingHours())
	}
	if s := read(noon.Add(2*time.Hour), -20); s.GetCondition() != harvestv1.StoreCondition_STORE_CONDITION_FREEZING || !s.GetOutOfRangeSince().AsTime().Equal(noon.Add(time.Hour)) {
		t.Errorf("at -2 °C: %v", s)
	}
	if s := read(noon.Add(3*time.Hour), 12); s.GetOutOfRangeSince() != nil || s.GetWarning() != "" {
		t.Errorf("cold again: %v", s)
	}
	_, err = r.RecordStoreReadings(ctx, &harvestv1.RecordStoreReadingsRequest{RequestId: ids.New(), StoreId: "ab-cold", Readings: []*harvestv1.StoreReading{{Time: timestamppb.New(noon.Add(48 * time.Hour))}}})
	refused(t, err, fault.Invalid, "readings[0].time")
}
