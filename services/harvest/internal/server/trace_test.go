package server

import (
	"context"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/testing/protocmp"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

// exec runs a statement in a co-op.
func (r *rig) exec(t testing.TB, coop identity.Identity, sql string) error {
	t.Helper()
	return pg.InTx(t.Context(), r.pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		_, err := tx.Exec(ctx, sql)
		return err
	})
}

func compost(id string, state compostlotv1.LotState, version int64) *compostlotv1.Lot {
	l := &compostlotv1.Lot{LotId: id, YardId: "quarry-end", SlotId: "quarry-end-20260928", State: state, ReleasedBy: "R. Moss", Version: version}
	if state == compostlotv1.LotState_LOT_STATE_HELD {
		l.HoldReason = "ammonia after cooling"
	}
	return l
}

const (
	released = compostlotv1.LotState_LOT_STATE_RELEASED
	onHold   = compostlotv1.LotState_LOT_STATE_HELD
)

func delivery(id, lot, roomID, cropID, date string, kg int64) *compostlotv1.LotDelivery {
	return &compostlotv1.LotDelivery{DeliveryId: id, LotId: lot, RoomId: roomID, CropId: cropID, Date: date, DeliveredKg: kg}
}

// fill brings compost under the white crop of ab-1 and, without the crop noted,
// under that of he-1.
func (r *rig) fill(t testing.TB, coop identity.Identity) {
	t.Helper()
	exception := compost("qe-26-38", released, 2)
	exception.ExceptionReason = "one probe lost for an hour"
	r.hear(t, coop, "compostlot",
		&compostlotv1.LotReleased{Lot: compost("qe-26-37", released, 2)},
		&compostlotv1.LotReleased{Lot: exception},
		&compostlotv1.LotDelivered{Lot: compost("qe-26-37", released, 3), Delivery: delivery("d1", "qe-26-37", "ab-1", "ab-1-20261001", "2026-10-01", 18000)},
		&compostlotv1.LotDelivered{Lot: compost("qe-26-37", released, 4), Delivery: delivery("d2", "qe-26-37", "he-1", "", "2026-10-04", 9000)},
		&compostlotv1.LotDelivered{Lot: exception, Delivery: delivery("d3", "qe-26-38", "he-1", "", "2026-10-05", 8000)})
}

func TestTraceBackAndForward(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.fill(t, coop)
	r.push(t, coop, expect("he-1", "white-2kg", "2026-11-26", 1, 2, 3))
	r.record(t, coop, weighed("ab-1", "white-2kg", "2026-11-26", 2100, 100))

	// A lot that is only expected has its origin, exception included.
	first := &harvestv1.CompostTrace{CompostLotId: "qe-26-37", YardId: "quarry-end", SlotId: "quarry-end-20260928", ReleasedBy: "R. Moss", DeliveredKg: 9000, DeliveredDate: "2026-10-04"}
	second := &harvestv1.CompostTrace{
		CompostLotId: "qe-26-38", YardId: "quarry-end", SlotId: "quarry-end-20260928", ReleasedBy: "R. Moss",
		DeliveredKg: 8000, DeliveredDate: "2026-10-05", ExceptionReason: "one probe lost for an hour",
	}
	hillLot := &harvestv1.PickLot{
		PickLotId: "he-1-white-2kg-20261126", FarmId: "hill-end", RoomId: "he-1", CropId: "he-1-20261005", ProductId: "white-2kg", Date: "2026-11-26",
		CompostLotIds: []string{"qe-26-37", "qe-26-38"}, Version: 1,
		CompostException: "compost lot qe-26-38 was released by exception: one probe lost for an hour",
	}
	hill := &harvestv1.CropTrace{CropId: "he-1-20261005", RoomId: "he-1", FarmId: "hill-end", Compost: []*harvestv1.CompostTrace{first, second}}
	back, err := r.TraceBack(testkit.Context(t, coop), &harvestv1.TraceBackRequest{PickLotId: "he-1-white-2kg-20261126"})
	if diff := cmp.Diff(&harvestv1.TraceBackResponse{PickLot: hillLot, Crop: hill}, back, protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("back: %v (-want +got):\n%s", err, diff)
	}

	ask := &harvestv1.TraceForwardRequest{CompostLotId: "qe-26-37"}
	forward, err := r.TraceForward(testkit.Context(t, coop), ask)
	if err != nil || len(forward.GetCrops()) != 2 || len(forward.GetPickLots()) != 2 || forward.GetCompost().GetDeliveredKg() != 27000 {
		t.Errorf("forward: %v, %v", forward, err)
	}
	if !cmp.Equal(hill, forward.GetCrops()[1], protocmp.Transform()) || !cmp.Equal(hillLot, forward.GetPickLots()[1], protocmp.Transform()) {
		t.Errorf("forward and back tell two stories: %v", forward)
	}

	// Everybody sees their own part of it.
	forward, err = r.TraceForward(testkit.Context(t, grower(coop, "alder-brook")), ask)
	if err != nil || len(forward.GetCrops()) != 1 || len(forward.GetPickLots()) != 1 || forward.GetCompost().GetDeliveredKg() != 18000 {
		t.Errorf("forward for a farm: %v, %v", forward, err)
	}
	_, err = r.TraceBack(testkit.Context(t, grower(coop, "alder-brook")), &harvestv1.TraceBackRequest{PickLotId: "he-1-white-2kg-20261126"})
	refused(t, err, fault.Forbidden)
	yard := identity.Identity{CoopID: coop.CoopID, Role: identity.YardManager, YardID: "quarry-end"}
	if forward, err = r.TraceForward(testkit.Context(t, yard), ask); err != nil || len(forward.GetPickLots()) != 2 {
		t.Errorf("forward for its yard: %v, %v", forward, err)
	}
	yard.YardID = "low-lane"
	_, err = r.TraceForward(testkit.Context(t, yard), ask)
	refused(t, err, fault.Forbidden)
	_, err = r.TraceForward(testkit.Context(t, coop), &harvestv1.TraceForwardRequest{CompostLotId: "qe-26-99"})
	refused(t, err, fault.NotFound)
}

// A hold of compost reaches every pick lot of the crops on it, expected ones
// too, and those opened later; other lots stay.
func TestCompostHoldReachesEveryPickLot(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.fill(t, coop)
	r.push(t, coop, expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3), expect("he-1", "white-2kg", "2026-11-26", 1, 2, 3), expect("ab-2", "oyster-1kg", "2026-11-26", 1, 2, 3))
	r.record(t, coop, weighed("ab-1", "white-2kg", "2026-11-25", 2100, 100))
	held := &compostlotv1.LotHeld{Lot: compost("qe-26-37", onHold, 5)}
	r.hear(t, coop, "compostlot", held)
	want := []string{"ab-1-white-2kg-20261125", "ab-1-white-2kg-20261126", "he-1-white-2kg-20261126"}
	if diff := cmp.Diff(want, r.heldLots(t, coop)); diff != "" {
		t.Errorf("held lots (-want +got):\n%s", diff)
	}
	var told []string
	for _, m := range r.told(t, coop) {
		if e, ok := m.(*harvestv1.PickLotHeld); ok && e.GetPickLot().GetHeld() && e.GetPickLot().GetHoldReason() == "compost lot qe-26-37 is held: ammonia after cooling" {
			told = append(told, e.GetPickLot().GetPickLotId())
		}
	}
	slices.Sort(told)
	if diff := cmp.Diff(want, told); diff != "" {
		t.Errorf("told (-want +got):\n%s", diff)
	}
	supply, err := r.GetSupply(testkit.Context(t, coop), &harvestv1.GetSupplyRequest{FromDate: "2026-11-20", ToDate: "2026-11-30"})
	if err != nil || len(supply.GetDays()) != 1 || supply.GetDays()[0].GetProductId() != "oyster-1kg" {
		t.Errorf("supply while held: %v, %v", supply, err)
	}

	before := len(r.told(t, coop))
	r.push(t, coop, expect("he-1", "white-2kg", "2026-11-27", 1, 2, 3))
	if got := r.names(t, coop)[before:]; !cmp.Equal(got, []string{"PickLotHeld", "ExpectedPickPushed"}) {
		t.Errorf("a lot opened on held compost told %q", got)
	}

	// Told twice, or an older version late: nothing more happens.
	before = len(r.told(t, coop))
	r.hear(t, coop, "compostlot", held, &compostlotv1.LotReleased{Lot: compost("qe-26-37", released, 4)})
	if got := r.names(t, coop)[before:]; len(got) != 0 {
		t.Errorf("an old event told %q", got)
	}
	r.hear(t, coop, "compostlot", &compostlotv1.LotReleased{Lot: compost("qe-26-37", released, 6)})
	if got := r.heldLots(t, coop); len(got) != 0 {
		t.Errorf("held after the release: %q", got)
	}
}

func (r *rig) heldLots(t testing.TB, coop identity.Identity) (out []string) {
	t.Helper()
	list, err := r.ListPickLots(testkit.Context(t, coop), &harvestv1.ListPickLotsRequest{FromDate: "2026-11-01", ToDate: "2026-11-30"})
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range list.GetPickLots() {
		if l.GetHeld() {
			out = append(out, l.GetPickLotId())
		}
	}
	slices.Sort(out)
	return out
}

func TestHoldPickLot(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.fill(t, coop)
	ida := grower(coop, "alder-brook")
	r.push(t, ida, expect("ab-1", "white-2kg", "2026-11-26", 1, 2, 3))
	const code = "ab-1-white-2kg-20261126"
	ask := func(who identity.Identity, code string, hold bool, reason string) (*harvestv1.PickLot, error) {
		return r.HoldPickLot(testkit.Context(t, who), &harvestv1.HoldPickLotRequest{RequestId: ids.New(), PickLotId: code, Hold: hold, Reason: reason})
	}
	_, err := ask(ida, code, true, "  ")
	refused(t, err, fault.Invalid, "reason")
	_, err = ask(ida, "ab-1-white-2kg-20270101", true, "flies")
	refused(t, err, fault.NotFound)
	_, err = ask(grower(coop, "hill-end"), code, true, "flies")
	refused(t, err, fault.Forbidden)
	lot, err := ask(ida, code, true, "flies in the crates")
	if err != nil || !lot.GetHeld() || lot.GetHoldReason() != "flies in the crates" || lot.GetHeldBy() != "Ida of alder-brook" || lot.GetVersion() != 2 {
		t.Errorf("held: %v, %v", lot, err)
	}
	if again, err := ask(coop, code, true, "flies in the crates"); err != nil || !cmp.Equal(lot, again, protocmp.Transform()) {
		t.Errorf("held for the same reason again: %v, %v", again, err)
	}
	_, err = ask(ida, code, false, "")
	refused(t, err, fault.Forbidden)

	// Its compost is held too: freed by the office, the lot stays held.
	r.hear(t, coop, "compostlot", &compostlotv1.LotHeld{Lot: compost("qe-26-37", onHold, 5)})
	lot, err = ask(coop, code, false, "")
	if err != nil || !lot.GetHeld() || lot.GetHoldReason() != "compost lot qe-26-37 is held: ammonia after cooling" || lot.GetHeldBy() != "" {
		t.Errorf("freed by the office: %v, %v", lot, err)
	}
	_, err = ask(coop, code, false, "")
	refused(t, err, fault.Precondition, "pick lot "+code)
	r.hear(t, coop, "compostlot", &compostlotv1.LotReleased{Lot: compost("qe-26-37", released, 6)})
	lot, err = ask(coop, code, false, "")
	if err != nil || lot.GetHeld() || lot.GetVersion() != 5 {
		t.Errorf("free: %v, %v", lot, err)
	}
}

// Real dates told later put picks down to the crop that really stood there.
func TestOriginFollowsTheCalendar(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.fill(t, coop)
	r.record(t, coop, weighed("ab-1", "white-2kg", "2026-12-08", 2100, 100))
	before := len(r.told(t, coop))
	ended := whiteCrop()
	ended.State, ended.FreeDate, ended.Version = schedulingv1.CropState_CROP_STATE_ENDED, "2026-12-01", 4
	next := crop("ab-1-20261203", "ab-1", "alder-brook", "white mushroom", running, [3]string{"2026-12-03", "2026-12-05", "2026-12-30"}, 1)
	r.hear(t, coop, "scheduling", &schedulingv1.CropEnded{Crop: ended})
	if got := r.names(t, coop)[before:]; len(got) != 0 {
		t.Errorf("without another crop, the lot keeps the one that it had; told %q", got)
	}
	r.hear(t, coop, "scheduling", &schedulingv1.CropPlanned{Crop: next})
	events := r.told(t, coop)[before:]
	traced, ok := events[0].(*harvestv1.PickLotTraced)
	if lot := traced.GetPickLot(); !ok || len(events) != 1 || lot.GetCropId() != "ab-1-20261203" || lot.GetVersion() != 3 || len(lot.GetCompostLotIds()) != 0 {
		t.Errorf("told %v", events)
	}
}

// A crop that is moved to another room takes a hold of its compost back to the
// lots picked from it before.
func TestHoldFindsLotsOfAMovedCrop(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	r.fill(t, coop)
	r.record(t, coop, weighed("he-1", "white-2kg", "2026-11-20", 2100, 100))
	moved := hillCrop()
	moved.RoomId, moved.Version = "he-2", 3
	r.hear(t, coop, "scheduling", room("he-2", "hill-end"), &schedulingv1.CropMoved{Crop: moved})
	r.hear(t, coop, "compostlot",
		&compostlotv1.LotDelivered{Lot: compost("qe-26-39", released, 3), Delivery: delivery("d9", "qe-26-39", "he-2", "", "2026-10-05", 500)},
		&compostlotv1.LotHeld{Lot: compost("qe-26-39", onHold, 4)})
	if got := r.heldLots(t, coop); !cmp.Equal(got, []string{"he-1-white-2kg-20261120"}) {
		t.Errorf("held: %q", got)
	}
	back, err := r.TraceBack(testkit.Context(t, coop), &harvestv1.TraceBackRequest{PickLotId: "he-1-white-2kg-20261120"})
	if err != nil || back.GetCrop().GetRoomId() != "he-2" {
		t.Errorf("back: %v, %v", back, err)
	}
}
