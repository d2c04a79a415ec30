package server_test

import (
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

func delivery(lot, room string, kg int64) *compostlotv1.DeliverLotRequest {
	farm, _, _ := strings.Cut(room, "-")
	return &compostlotv1.DeliverLotRequest{
		RequestId: ids.New(), LotId: lot, FarmId: farm, RoomId: room, DeliveredKg: kg, DeliveredAt: timestamppb.New(noon),
	}
}

func (r *rig) soundLot(t testing.TB, lot string, kg int64) {
	t.Helper()
	r.yards(t)
	r.open(t, phaseTwo(lot, kg))
	r.prove(t, lot)
	r.release(t, lot)
}

func TestDelivery(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.soundLot(t, "quarry-7", 40_000)
	req := delivery("quarry-7", "alder-1", 15_000)
	req.CropId, req.DeliveredAt = "alder-1-20260320", timestamppb.New(time.Date(2026, 4, 10, 23, 30, 0, 0, time.UTC)) // past midnight in Dublin
	got := must[*compostlotv1.LotDelivery](t)(r.DeliverLot(r.office(t), req))
	want := &compostlotv1.LotDelivery{
		DeliveryId: "quarry-7-1", LotId: "quarry-7", FarmId: "alder", RoomId: "alder-1", CropId: "alder-1-20260320",
		DeliveredKg: 15_000, Date: "2026-04-11", DeliveredAt: req.DeliveredAt,
	}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("delivery (-want +got):\n%s", diff)
	}
	if again := must[*compostlotv1.LotDelivery](t)(r.DeliverLot(r.office(t), req)); again.GetDeliveryId() != "quarry-7-1" {
		t.Errorf("the same delivery again became %v", again)
	}
	events := r.events(t)
	last := events[len(events)-1].Payload.(*compostlotv1.LotDelivered)
	if last.GetLot().GetRemainingKg() != 25_000 || last.GetLot().GetVersion() != 3 || last.GetDelivery().GetDeliveryId() != "quarry-7-1" {
		t.Errorf("told %v", last)
	}

	for name, c := range map[string]struct {
		change func(*compostlotv1.DeliverLotRequest)
		kind   fault.Kind
		reason string
		field  string
	}{
		"more than remains":  {func(d *compostlotv1.DeliverLotRequest) { d.DeliveredKg = 25_001 }, fault.Precondition, "LOT_TOO_SMALL", "delivered_kg"},
		"unknown lot":        {func(d *compostlotv1.DeliverLotRequest) { d.LotId = "quarry-99" }, fault.NotFound, "UNKNOWN_LOT", "lot_id"},
		"unknown farm":       {func(d *compostlotv1.DeliverLotRequest) { d.FarmId = "ash" }, fault.Invalid, "", "farm_id"},
		"unknown room":       {func(d *compostlotv1.DeliverLotRequest) { d.RoomId = "alder-9" }, fault.Invalid, "", "room_id"},
		"another's room":     {func(d *compostlotv1.DeliverLotRequest) { d.RoomId = "birch-1" }, fault.Invalid, "", "room_id"},
		"unknown crop":       {func(d *compostlotv1.DeliverLotRequest) { d.CropId = "alder-1-20200101" }, fault.Invalid, "", "crop_id"},
		"another room's":     {func(d *compostlotv1.DeliverLotRequest) { d.RoomId, d.CropId = "alder-2", "alder-1-20260320" }, fault.Invalid, "", "crop_id"},
		"before it was made": {func(d *compostlotv1.DeliverLotRequest) { d.DeliveredAt = timestamppb.New(noon.AddDate(-1, 0, 0)) }, fault.Invalid, "", "delivered_at"},
		"nothing":            {func(d *compostlotv1.DeliverLotRequest) { d.DeliveredKg = 0 }, fault.Invalid, "", "delivered_kg"},
	} {
		req := delivery("quarry-7", "alder-1", 10)
		c.change(req)
		_, err := r.DeliverLot(r.office(t), req)
		t.Run(name, func(t *testing.T) { refused(t, err, c.kind, c.reason, c.field) })
	}
	if lot := r.reportOf(t, "quarry-7").GetLot(); lot.GetRemainingKg() != 25_000 {
		t.Errorf("after refusals %d kg remain, want 25000", lot.GetRemainingKg())
	}
}

// A file of deliveries is taken whole or not at all.
func TestBatchOfDeliveries(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.soundLot(t, "quarry-7", 100)
	of := func(room string, kg int64) *compostlotv1.NewDelivery {
		d := delivery("quarry-7", room, kg)
		return &compostlotv1.NewDelivery{LotId: d.LotId, FarmId: d.FarmId, RoomId: d.RoomId, DeliveredKg: kg, DeliveredAt: d.DeliveredAt}
	}
	send := func(d ...*compostlotv1.NewDelivery) (*compostlotv1.BatchDeliverLotsResponse, error) {
		return r.BatchDeliverLots(r.office(t), &compostlotv1.BatchDeliverLotsRequest{RequestId: ids.New(), Deliveries: d})
	}
	_, err := send(of("alder-1", 60), of("birch-1", 30), of("cedar-1", 11))
	refused(t, err, fault.Precondition, "LOT_TOO_SMALL", "deliveries[2].delivered_kg")
	if report := r.reportOf(t, "quarry-7"); report.GetLot().GetRemainingKg() != 100 || len(report.GetDeliveries()) != 0 {
		t.Errorf("of a refused batch stayed %v", report)
	}
	resp := must[*compostlotv1.BatchDeliverLotsResponse](t)(send(of("alder-1", 60), of("birch-1", 30), of("cedar-1", 10)))
	if got := resp.GetDeliveries(); len(got) != 3 || got[2].GetDeliveryId() != "quarry-7-3" {
		t.Errorf("delivered %v", got)
	}
}

// However many deliver at once, a lot gives no more than it has.
func TestManyDeliverAtOnce(t *testing.T) {
	t.Parallel()
	r := newRigAlone(t)
	r.soundLot(t, "quarry-7", 1000)
	var delivered, short atomic.Int64
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			_, err := r.DeliverLot(r.office(t), delivery("quarry-7", "alder-1", 90))
			switch {
			case err == nil:
				delivered.Add(1)
			case fault.FromStatus(err).Reason == "LOT_TOO_SMALL":
				short.Add(1)
			default:
				t.Error(err)
			}
		})
	}
	wg.Wait()
	report := r.reportOf(t, "quarry-7")
	if delivered.Load() != 11 || short.Load() != 9 || report.GetLot().GetRemainingKg() != 10 || len(report.GetDeliveries()) != 11 {
		t.Errorf("%d delivered, %d refused, %d kg remain", delivered.Load(), short.Load(), report.GetLot().GetRemainingKg())
	}
}
