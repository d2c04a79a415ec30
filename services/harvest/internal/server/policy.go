package server

import (
	"context"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/rpc"
)

// Policy says which role may call which RPC. Whose things a role may touch is
// judged in the RPC: a grower only those of the own farm, a yard manager only
// what became of the own yard's compost.
func Policy() rpc.Policy {
	growing := []identity.Role{identity.Coordinator, identity.Grower}
	looking := []identity.Role{identity.Coordinator, identity.Grower, identity.Operator, identity.Service}
	return rpc.Policy{
		harvestv1.HarvestService_PushExpectedPicks_FullMethodName:        growing,
		harvestv1.HarvestService_StreamExpectedPicks_FullMethodName:      growing,
		harvestv1.HarvestService_ListExpectedPickVersions_FullMethodName: looking,
		harvestv1.HarvestService_ListExpectedPicks_FullMethodName:        looking,
		harvestv1.HarvestService_ForecastCrop_FullMethodName:             looking,
		harvestv1.HarvestService_ForecastSupply_FullMethodName:           looking,
		harvestv1.HarvestService_ListOutlooks_FullMethodName:             looking,
		harvestv1.HarvestService_CloseDay_FullMethodName:                 {identity.Coordinator},
		harvestv1.HarvestService_GetScores_FullMethodName:                looking,
		harvestv1.HarvestService_GetSupply_FullMethodName:                looking,
		harvestv1.HarvestService_RecordPick_FullMethodName:               growing,
		harvestv1.HarvestService_BatchRecordPicks_FullMethodName:         growing,
		harvestv1.HarvestService_CorrectPick_FullMethodName:              growing,
		harvestv1.HarvestService_RecordDiscard_FullMethodName:            growing,
		harvestv1.HarvestService_SaveColdStore_FullMethodName:            growing,
		harvestv1.HarvestService_RecordStoreReadings_FullMethodName:      growing,
		harvestv1.HarvestService_ReportIncident_FullMethodName:           growing,
		harvestv1.HarvestService_CloseIncident_FullMethodName:            growing,
		harvestv1.HarvestService_ListPicks_FullMethodName:                looking,
		harvestv1.HarvestService_GetColdStock_FullMethodName:             looking,
		harvestv1.HarvestService_ListPests_FullMethodName:                looking,
		harvestv1.HarvestService_ListIncidents_FullMethodName:            looking,
		harvestv1.HarvestService_GetIncidentPhoto_FullMethodName:         looking,
		harvestv1.HarvestService_GetRoomOrder_FullMethodName:             looking,
		harvestv1.HarvestService_SaveCropCosts_FullMethodName:            {identity.Coordinator},
		harvestv1.HarvestService_ListCropCosts_FullMethodName:            looking,
		harvestv1.HarvestService_AdviseEnd_FullMethodName:                looking,
		// An instrument has the token of its farm.
		harvestv1.HarvestService_RecordClimate_FullMethodName:       growing,
		harvestv1.HarvestService_StreamClimate_FullMethodName:       growing,
		harvestv1.HarvestService_ListRefusedReadings_FullMethodName: looking,
		harvestv1.HarvestService_ListClimateAlerts_FullMethodName:   looking,
		harvestv1.HarvestService_GetClimateTrace_FullMethodName:     looking,
		harvestv1.HarvestService_ListPickLots_FullMethodName:        looking,
		harvestv1.HarvestService_HoldPickLot_FullMethodName:         growing,
		harvestv1.HarvestService_TraceBack_FullMethodName:           looking,
		harvestv1.HarvestService_TraceForward_FullMethodName:        append([]identity.Role{identity.YardManager}, looking...),
	}
}

// ReasonNotYours is the reason of the fault for touching what another stands
// for.
const ReasonNotYours = "NOT_YOURS"

// ownFarm is the only farm that the caller may see and touch; empty for a
// caller who may see all.
func ownFarm(ctx context.Context) string {
	return ownFarmOf(identity.Must(ctx))
}

func ownFarmOf(who identity.Identity) string {
	if who.Role == identity.Grower {
		return who.FarmID
	}
	return ""
}

// listedFarm is the farm to list: the one that was asked for, or the caller's
// own. A grower who asks for another is refused.
func listedFarm(ctx context.Context, asked string) (string, error) {
	own := ownFarm(ctx)
	if own == "" || asked == "" || asked == own {
		return max(own, asked), nil
	}
	return "", fault.New(fault.Forbidden, ReasonNotYours, "you stand for farm %s and cannot list farm %s: leave farm_id empty", own, asked)
}

// checkFarm refuses a grower what belongs to another farm.
func checkFarm(ctx context.Context, what, farmID string) error {
	if own := ownFarm(ctx); own != "" && own != farmID {
		return fault.New(fault.Forbidden, ReasonNotYours, "%s belongs to farm %s and you stand for farm %s: ask that farm or the coordinator", what, farmID, own)
	}
	return nil
}

// caller is how the caller is written down beside what they did.
func caller(ctx context.Context) string {
	return nameOf(identity.Must(ctx))
}

func nameOf(who identity.Identity) string {
	if who.Name != "" {
		return who.Name
	}
	return string(who.Role)
}
