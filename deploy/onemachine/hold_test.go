package onemachine_test

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/testkit"
)

// A hold of a compost lot stops deliveries at once, holds the pick lots made from it in
// harvest, and takes them out of what order can match. Released again as an exception, they
// come back and carry its reason.
func TestHoldReachesHarvestAndOrder(t *testing.T) {
	t.Parallel()
	d := newDay(t, startStack(t), testkit.Coop())
	d.settle()
	d.grow()
	d.waitForCrop()
	d.expect()
	if len(d.sell().GetAllocations()) == 0 {
		t.Fatal("nothing is matched before the hold")
	}
	picked, err := d.harvest.RecordPick(d.ctx, &harvestv1.RecordPickRequest{RequestId: requestID("pick"), Pick: &harvestv1.Pick{
		RoomId: roomID, ProductId: productID, Date: deliveryDay, GrossGrams: 93000, TareGrams: 9000, Crates: 14,
	}})
	must(t, "record pick", picked, err)

	held, err := d.compostlot.HoldLot(d.ctx, &compostlotv1.HoldLotRequest{RequestId: requestID("hold"), LotId: lotID, HeldBy: "Maeve Tarrant", Reason: "smells of ammonia"})
	must(t, "hold", held, err)
	_, err = d.compostlot.DeliverLot(d.ctx, &compostlotv1.DeliverLotRequest{
		RequestId: requestID("deliver held"), LotId: lotID, FarmId: farmID, RoomId: roomID, DeliveredKg: 1, DeliveredAt: timestamppb.Now(),
	})
	if f := fault.FromStatus(err); err == nil || f.Reason != "LOT_HELD" {
		t.Errorf("a held lot is delivered: %v", err)
	}
	pickLot := func() *harvestv1.PickLot {
		list, err := d.harvest.ListPickLots(d.ctx, &harvestv1.ListPickLotsRequest{FromDate: deliveryDay, ToDate: deliveryDay})
		must(t, "list pick lots", list, err)
		if len(list.GetPickLots()) != 1 {
			t.Fatalf("%d pick lots", len(list.GetPickLots()))
		}
		return list.GetPickLots()[0]
	}
	testkit.Eventually(t, "the hold to reach harvest", func() bool { return pickLot().GetHeld() })
	testkit.Eventually(t, "the hold to reach order", func() bool {
		return len(d.run("match while held").GetAllocations()) == 0
	})

	released, err := d.compostlot.ReleaseLot(d.ctx, &compostlotv1.ReleaseLotRequest{
		RequestId: requestID("release again"), LotId: lotID, ReleasedBy: "Maeve Tarrant", ExceptionReason: "aired and smelt again by two people",
	})
	must(t, "release again", released, err)
	testkit.Eventually(t, "the exception to reach the pick lot", func() bool {
		lot := pickLot()
		return !lot.GetHeld() && strings.Contains(lot.GetCompostException(), "aired and smelt again by two people")
	})
	testkit.Eventually(t, "the picks to come back to order", func() bool {
		return len(d.run("match after the release").GetAllocations()) > 0
	})
}
