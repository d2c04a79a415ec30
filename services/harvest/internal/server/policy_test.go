package server

import (
	"context"
	"testing"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/rpc/rpctest"
	"breakshare.example/services/platform/testkit"
)

// Every RPC against every role, written out: c(oordinator), g(rower), y(ard manager), b(uyer),
// o(perator), s(ervice).
var mayCall = map[string]string{
	"PushExpectedPicks": "cg", "StreamExpectedPicks": "cg", "ListExpectedPicks": "cgos", "ListExpectedPickVersions": "cgos", "GetSupply": "cgos",
	"ForecastCrop": "cgos", "ForecastSupply": "cgos", "ListOutlooks": "cgos", "GetScores": "cgos", "CloseDay": "c",
	"RecordClimate": "cg", "StreamClimate": "cg", "ListClimateAlerts": "cgos", "ListRefusedReadings": "cgos", "GetClimateTrace": "cgos",
	"RecordPick": "cg", "BatchRecordPicks": "cg", "CorrectPick": "cg", "RecordDiscard": "cg", "ListPicks": "cgos",
	"SaveColdStore": "cg", "RecordStoreReadings": "cg", "GetColdStock": "cgos",
	"ReportIncident": "cg", "CloseIncident": "cg", "ListIncidents": "cgos", "GetIncidentPhoto": "cgos", "ListPests": "cgos", "GetRoomOrder": "cgos",
	"SaveCropCosts": "c", "ListCropCosts": "cgos", "AdviseEnd": "cgos",
	"ListPickLots": "cgos", "HoldPickLot": "cg", "TraceBack": "cgos", "TraceForward": "cgyos",
}

func TestEveryRoleAtEveryCall(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	rpctest.Roles{
		MayCall: mayCall,
		As: func(role identity.Role) context.Context {
			id := testkit.Coop()
			id.Role, id.FarmID, id.YardID, id.CustomerID = role, "alder-brook", "quarry-end", "copper-pan"
			return testkit.Context(t, id)
		},
	}.Check(t, r.conn, harvestv1.HarvestService_ServiceDesc.ServiceName)
}
