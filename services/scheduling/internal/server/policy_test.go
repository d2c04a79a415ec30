package server_test

import (
	"context"
	"slices"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/rpc/rpctest"
	"breakshare.example/services/platform/testkit"
)

// Every RPC against every role, written out: c(oordinator), g(rower), y(ard
// manager), b(uyer), o(perator), s(ervice).
var mayCall = map[string]string{
	"SaveCoop": "co", "GetCoop": "cgybos",
	"SaveFarm": "co", "BatchSaveFarms": "co", "ListFarms": "cgyos",
	"SaveRoom": "co", "BatchSaveRooms": "co", "ListRooms": "cgyos",
	"SaveProgramme": "co", "ListProgrammes": "cgyos",
	"PlanCrop": "cgo", "BatchPlanCrops": "cgo", "RecordStage": "cgo", "BatchRecordStages": "cgo", "EndCrop": "cgo",
	"GetCalendar": "cgyos", "ExportCalendar": "cgyos", "GetQuarter": "cgo",
	"MoveCrop": "cgo", "ShiftOverdue": "cgo",
	"SaveFacility": "co", "ListFacilities": "cgyos", "SaveWorkingDays": "co", "GetWorkingDays": "cgyos",
	"GetDemand": "co", "SaveDemandOverride": "co", "SavePlanningSettings": "co", "GetPlanningSettings": "co",
	"ProposeFills": "co", "AcceptFills": "co", "WhatIf": "co",
	"CreateFeed": "cgyo", "ListFeeds": "cgyo", "RevokeFeed": "cgyo", "ReadFeed": "cos",
}

func TestEveryRoleAtEveryCall(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	rpctest.Roles{
		MayCall: mayCall,
		Instead: map[string]proto.Message{
			// A pin without a room is refused before anything is planned.
			"ProposeFills": &schedulingv1.ProposeFillsRequest{Pins: []*schedulingv1.FillChoice{{}}},
		},
		As: func(role identity.Role) context.Context {
			return testkit.Context(t, identity.Identity{CoopID: r.coop.CoopID, Role: role, FarmID: "elm-end", YardID: "yard", CustomerID: "kitchen"})
		},
	}.Check(t, r.conn, schedulingv1.SchedulingService_ServiceDesc.ServiceName)
}

// call makes a method into a call whose answer does not matter.
func call[Q, A any](method func(context.Context, Q, ...grpc.CallOption) (A, error), req Q) func(context.Context) error {
	return func(ctx context.Context) error {
		_, err := method(ctx, req)
		return err
	}
}

// A grower sees and changes the own farm's things only.
func TestGrowerKeepsToTheOwnFarm(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	mine := r.plan(t, fill("elm-end-1", "white-shelves", "2026-04-06"))
	theirs := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	ctx := r.grower(t, "elm-end")

	farms := must[*schedulingv1.ListFarmsResponse](t)(r.ListFarms(ctx, &schedulingv1.ListFarmsRequest{})).GetFarms()
	rooms := must[*schedulingv1.ListRoomsResponse](t)(r.ListRooms(ctx, &schedulingv1.ListRoomsRequest{})).GetRooms()
	days := &schedulingv1.GetCalendarRequest{FromDate: "2026-04-01", ToDate: "2026-04-30"}
	crops := must[*schedulingv1.GetCalendarResponse](t)(r.GetCalendar(ctx, days)).GetCrops()
	if len(farms) != 1 || farms[0].GetFarmId() != "elm-end" || len(rooms) != 1 || rooms[0].GetRoomId() != "elm-end-1" {
		t.Errorf("grower sees %v and %v", farms, rooms)
	}
	if len(crops) != 1 || crops[0].GetCropId() != mine.GetCropId() {
		t.Errorf("grower sees crops %v", crops)
	}

	days.FarmId = "gorse-hill"
	for name, err := range map[string]error{
		"rooms":    call(r.ListRooms, &schedulingv1.ListRoomsRequest{FarmId: "gorse-hill"})(ctx),
		"calendar": call(r.GetCalendar, days)(ctx),
		"plan":     call(r.PlanCrop, &schedulingv1.PlanCropRequest{RequestId: ids.New(), Plan: fill("gorse-hill-1", "white-bulk-2", "2027-04-06")})(ctx),
		"record": call(r.RecordStage, &schedulingv1.RecordStageRequest{
			RequestId: ids.New(), CropId: theirs.GetCropId(), Kind: schedulingv1.StageKind_STAGE_KIND_FILLING, Date: "2026-04-06",
		})(ctx),
		"records": call(r.BatchRecordStages, &schedulingv1.BatchRecordStagesRequest{RequestId: ids.New(), Records: []*schedulingv1.StageRecord{
			{CropId: mine.GetCropId(), Kind: schedulingv1.StageKind_STAGE_KIND_FILLING, Date: "2026-04-06"},
			{CropId: theirs.GetCropId(), Kind: schedulingv1.StageKind_STAGE_KIND_FILLING, Date: "2026-04-06"},
		}})(ctx),
		"end": call(r.EndCrop, &schedulingv1.EndCropRequest{RequestId: ids.New(), CropId: theirs.GetCropId(), Date: "2026-04-06"})(ctx),
	} {
		if fault.KindOf(err) != fault.Forbidden {
			t.Errorf("%s of another farm: %v", name, err)
		}
	}
	own := must[*schedulingv1.Crop](t)(r.RecordStage(ctx, &schedulingv1.RecordStageRequest{
		RequestId: ids.New(), CropId: mine.GetCropId(), Kind: schedulingv1.StageKind_STAGE_KIND_FILLING, Date: "2026-04-07",
	}))
	if own.GetState() != schedulingv1.CropState_CROP_STATE_RUNNING {
		t.Errorf("the own crop is %s", own.GetState())
	}
	if !slices.Contains(subjects(r.events(t)), "crop.stage_reached "+mine.GetCropId()) {
		t.Error("the grower's record is not told")
	}
}
