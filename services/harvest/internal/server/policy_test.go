package server

import (
	"context"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/testkit"
)

// Every RPC against every role: who is let in is what this table says, and
// nobody else is.
func TestEveryRoleAgainstEveryCall(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	if err := r.server.CheckPolicy(); err != nil {
		t.Fatal(err)
	}
	looking := []identity.Role{identity.Coordinator, identity.Grower, identity.Operator, identity.Service}
	growing := []identity.Role{identity.Coordinator, identity.Grower}
	letIn := map[string][]identity.Role{
		"PushExpectedPicks":        {identity.Coordinator, identity.Grower},
		"ListExpectedPicks":        {identity.Coordinator, identity.Grower, identity.Operator, identity.Service},
		"GetSupply":                {identity.Coordinator, identity.Grower, identity.Operator, identity.Service},
		"ListExpectedPickVersions": looking, "ForecastCrop": looking, "ForecastSupply": looking, "ListOutlooks": looking, "GetScores": looking,
		"CloseDay":      {identity.Coordinator},
		"RecordClimate": growing, "ListClimateAlerts": looking, "ListRefusedReadings": looking, "GetClimateTrace": looking,
		"CorrectPick": growing, "RecordDiscard": growing, "SaveColdStore": growing, "RecordStoreReadings": growing, "ReportIncident": growing, "CloseIncident": growing,
		"ListPicks": looking, "GetColdStock": looking, "ListPests": looking, "ListIncidents": looking, "GetIncidentPhoto": looking, "GetRoomOrder": looking,
		"SaveCropCosts": {identity.Coordinator}, "ListCropCosts": looking, "AdviseEnd": looking,
		"RecordPick":       {identity.Coordinator, identity.Grower},
		"BatchRecordPicks": {identity.Coordinator, identity.Grower},
		"ListPickLots":     {identity.Coordinator, identity.Grower, identity.Operator, identity.Service},
		"HoldPickLot":      {identity.Coordinator, identity.Grower},
		"TraceBack":        {identity.Coordinator, identity.Grower, identity.Operator, identity.Service},
		"TraceForward":     {identity.Coordinator, identity.Grower, identity.YardManager, identity.Operator, identity.Service},
	}
	tooLong := strings.Repeat("x", 200)
	// Nothing in these can be wrong.
	always := []string{"ListPests", "ListCropCosts"}
	// An empty request gets past the policy and no further.
	calls := map[string]func(context.Context) error{
		"PushExpectedPicks":        call(r.PushExpectedPicks, &harvestv1.PushExpectedPicksRequest{}),
		"ListExpectedPicks":        call(r.ListExpectedPicks, &harvestv1.ListExpectedPicksRequest{}),
		"GetSupply":                call(r.GetSupply, &harvestv1.GetSupplyRequest{}),
		"ListExpectedPickVersions": call(r.ListExpectedPickVersions, &harvestv1.ListExpectedPickVersionsRequest{}),
		"ForecastCrop":             call(r.ForecastCrop, &harvestv1.ForecastCropRequest{}),
		"ForecastSupply":           call(r.ForecastSupply, &harvestv1.ForecastSupplyRequest{Days: -1}),
		"ListOutlooks":             call(r.ListOutlooks, &harvestv1.ListOutlooksRequest{}),
		"CloseDay":                 call(r.CloseDay, &harvestv1.CloseDayRequest{}),
		"RecordClimate":            call(r.RecordClimate, &harvestv1.RecordClimateRequest{}),
		"ListRefusedReadings":      call(r.ListRefusedReadings, &harvestv1.ListRefusedReadingsRequest{FarmId: tooLong}),
		"ListClimateAlerts":        call(r.ListClimateAlerts, &harvestv1.ListClimateAlertsRequest{FarmId: tooLong}),
		"GetClimateTrace":          call(r.GetClimateTrace, &harvestv1.GetClimateTraceRequest{}),
		"CorrectPick":              call(r.CorrectPick, &harvestv1.CorrectPickRequest{}),
		"ListPicks":                call(r.ListPicks, &harvestv1.ListPicksRequest{}),
		"RecordDiscard":            call(r.RecordDiscard, &harvestv1.RecordDiscardRequest{}),
		"SaveColdStore":            call(r.SaveColdStore, &harvestv1.SaveColdStoreRequest{}),
		"RecordStoreReadings":      call(r.RecordStoreReadings, &harvestv1.RecordStoreReadingsRequest{}),
		"GetColdStock":             call(r.GetColdStock, &harvestv1.GetColdStockRequest{FarmId: tooLong}),
		"ReportIncident":           call(r.ReportIncident, &harvestv1.ReportIncidentRequest{}),
		"CloseIncident":            call(r.CloseIncident, &harvestv1.CloseIncidentRequest{}),
		"ListIncidents":            call(r.ListIncidents, &harvestv1.ListIncidentsRequest{FarmId: tooLong}),
		"GetIncidentPhoto":         call(r.GetIncidentPhoto, &harvestv1.GetIncidentPhotoRequest{}),
		"GetRoomOrder":             call(r.GetRoomOrder, &harvestv1.GetRoomOrderRequest{FarmId: tooLong}),
		"SaveCropCosts":            call(r.SaveCropCosts, &harvestv1.SaveCropCostsRequest{}),
		"AdviseEnd":                call(r.AdviseEnd, &harvestv1.AdviseEndRequest{CropId: tooLong}),
		"ListPests":                call(r.ListPests, &harvestv1.ListPestsRequest{}),
		"ListCropCosts":            call(r.ListCropCosts, &harvestv1.ListCropCostsRequest{}),
		"GetScores":                call(r.GetScores, &harvestv1.GetScoresRequest{AsOfDate: "not a day"}),
		"RecordPick":               call(r.RecordPick, &harvestv1.RecordPickRequest{}),
		"BatchRecordPicks":         call(r.BatchRecordPicks, &harvestv1.BatchRecordPicksRequest{}),
		"ListPickLots":             call(r.ListPickLots, &harvestv1.ListPickLotsRequest{}),
		"HoldPickLot":              call(r.HoldPickLot, &harvestv1.HoldPickLotRequest{}),
		"TraceBack":                call(r.TraceBack, &harvestv1.TraceBackRequest{}),
		"TraceForward":             call(r.TraceForward, &harvestv1.TraceForwardRequest{}),
	}
	for _, m := range harvestv1.HarvestService_ServiceDesc.Methods {
		do, ok := calls[m.MethodName]
		if !ok {
			t.Errorf("%s is not in the tables of this test", m.MethodName)
			continue
		}
		for _, role := range identity.Roles() {
			id := testkit.Coop()
			id.Role, id.FarmID, id.YardID, id.CustomerID = role, "alder-brook", "quarry-end", "copper-pan"
			want := fault.Forbidden
			if slices.Contains(letIn[m.MethodName], role) {
				want = fault.Invalid
				if slices.Contains(always, m.MethodName) {
					if err := do(testkit.Context(t, id)); err != nil {
						t.Errorf("%s as %s: %v", m.MethodName, role, err)
					}
					continue
				}
			}
			if got := fault.KindOf(do(testkit.Context(t, id))); got != want {
				t.Errorf("%s as %s: %v, want %v", m.MethodName, role, got, want)
			}
		}
	}
}

// The stream, too, is for coordinators and growers.
func TestEveryRoleAgainstTheStreams(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	for _, role := range identity.Roles() {
		id := testkit.Coop()
		id.Role, id.FarmID, id.YardID, id.CustomerID = role, "alder-brook", "quarry-end", "copper-pan"
		want := fault.Forbidden
		if role == identity.Coordinator || role == identity.Grower {
			want = fault.Invalid
		}
		stream, err := r.StreamExpectedPicks(testkit.Context(t, id))
		if err == nil {
			_, err = stream.CloseAndRecv()
		}
		if got := fault.KindOf(err); got != want {
			t.Errorf("StreamExpectedPicks as %s: %v, want %v", role, got, want)
		}
		climate, err := r.StreamClimate(testkit.Context(t, id))
		if err == nil {
			if err = climate.Send(&harvestv1.StreamClimateRequest{}); err == nil || errors.Is(err, io.EOF) {
				_, err = climate.CloseAndRecv()
			}
		}
		if got := fault.KindOf(err); got != want {
			t.Errorf("StreamClimate as %s: %v, want %v", role, got, want)
		}
	}
}

func call[Q, R any](rpc func(context.Context, Q, ...grpc.CallOption) (R, error), req Q) func(context.Context) error {
	return func(ctx context.Context) error {
		_, err := rpc(ctx, req)
		return err
	}
}
