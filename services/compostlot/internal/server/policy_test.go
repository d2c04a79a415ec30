package server_test

import (
	"context"
	"slices"
	"testing"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/rpc/rpctest"
)

// Every RPC against every role, written out: c(oordinator), g(rower), y(ard manager),
// b(uyer), o(perator), s(ervice).
var mayCall = map[string]string{
	"SaveYard": "cy", "BatchSaveYards": "c", "ListYards": "cgyos",
	"SaveRecipe": "cy", "ListRecipes": "cgyos", "BlendRecipe": "cgyos",
	"PublishSlots": "cy", "ListSlots": "cgyos",
	"PublishSlotSeries": "cy", "WithdrawSlot": "cy", "RequestForCrop": "cg", "WhatIfWider": "cg",
	"GetShareSettings": "cgyos", "SaveShareSettings": "c", "SaveHaulCosts": "c", "ListHaulCosts": "cgyos",
	"RequestCompost": "cg", "BatchRequestCompost": "cg", "ListCompostRequests": "cgyos", "ShareOut": "cy",
	"OpenLot": "cy", "BatchOpenLots": "cy", "ListLots": "cgyos", "GetLotReport": "cgyos",
	"SetLotRecipe": "cy", "RecordTurn": "cy", "RecordHeap": "cy",
	"MarkPhases": "cy", "SaveProbe": "cy", "RecordReadings": "cy", "ListRefusedReadings": "cyo",
	"GetLotChart": "cgyos", "GetLotDocument": "cgyos", "GetEntryChecklist": "cgyos", "GetReleaseRules": "cgyos", "SaveReleaseRules": "c",
	"ReleaseLot": "cy", "BatchReleaseLots": "cy", "HoldLot": "cy", "DeliverLot": "cy", "BatchDeliverLots": "cy",
}

func TestEveryRoleAtEveryCall(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	rpctest.Roles{
		MayCall: mayCall,
		As:      func(role identity.Role) context.Context { return r.as(t, role, "quarry") },
	}.Check(t, r.conn, compostlotv1.CompostLotService_ServiceDesc.ServiceName)
}

// A yard manager changes things of the own yard, a grower those of the own farm.
func TestWhoseThings(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 1000))
	mill, quarry, birch := r.as(t, identity.YardManager, "mill"), r.as(t, identity.YardManager, "quarry"), r.as(t, identity.Grower, "birch")

	_, err := r.SaveYard(mill, &compostlotv1.SaveYardRequest{RequestId: ids.New(), Yard: &compostlotv1.Yard{YardId: "quarry", Name: "Mine now"}})
	refused(t, err, fault.Forbidden, "NOT_YOURS", "yard.yard_id")
	_, err = r.PublishSlots(mill, &compostlotv1.PublishSlotsRequest{RequestId: ids.New(), Slots: []*compostlotv1.Slot{slot("s", "2026-03-20", 10)}})
	refused(t, err, fault.Forbidden, "NOT_YOURS", "slots[0].yard_id")
	_, err = r.OpenLot(mill, &compostlotv1.OpenLotRequest{RequestId: ids.New(), Lot: phaseTwo("quarry-8", 10)})
	refused(t, err, fault.Forbidden, "NOT_YOURS", "lot.yard_id")
	_, err = r.HoldLot(mill, &compostlotv1.HoldLotRequest{RequestId: ids.New(), LotId: "quarry-7", HeldBy: "M", Reason: "smells"})
	refused(t, err, fault.Forbidden, "NOT_YOURS", "lot_id")
	_, err = r.record(mill, readings("quarry-7", "p1", celsius(50), noon, 3))
	refused(t, err, fault.Forbidden, "NOT_YOURS", "readings[0].lot_id")
	_, err = r.ShareOut(quarry, march(true))
	refused(t, err, fault.Forbidden, "NOT_YOURS", "confirm")
	must[*compostlotv1.Lot](t)(r.HoldLot(quarry, &compostlotv1.HoldLotRequest{RequestId: ids.New(), LotId: "quarry-7", HeldBy: "Q", Reason: "smells"}))

	_, err = r.RequestCompost(birch, &compostlotv1.RequestCompostRequest{RequestId: ids.New(), CompostRequest: asks("", "alder-1", 10, "2026-03-20", "2026-03-20")})
	refused(t, err, fault.Forbidden, "NOT_YOURS", "compost_request.farm_id")
	r.ask(t, asks("a", "alder-1", 10, "2026-03-20", "2026-03-20"), asks("b", "birch-1", 10, "2026-03-20", "2026-03-20"))
	// Not by its id either.
	_, err = r.RequestCompost(birch, &compostlotv1.RequestCompostRequest{RequestId: ids.New(), CompostRequest: asks("a", "birch-1", 10, "2026-03-20", "2026-03-20")})
	refused(t, err, fault.Forbidden, "NOT_YOURS", "compost_request.compost_request_id")
	_, err = r.ListCompostRequests(birch, &compostlotv1.ListCompostRequestsRequest{FarmId: "alder"})
	refused(t, err, fault.Forbidden, "NOT_YOURS", "farm_id")
	seen := must[*compostlotv1.ListCompostRequestsResponse](t)(r.ListCompostRequests(birch, &compostlotv1.ListCompostRequestsRequest{}))
	if got := len(seen.GetCompostRequests()); got != 1 || slices.ContainsFunc(seen.GetCompostRequests(), func(c *compostlotv1.CompostRequest) bool { return c.GetFarmId() != "birch" }) {
		t.Errorf("a grower sees %v", seen.GetCompostRequests())
	}
}
