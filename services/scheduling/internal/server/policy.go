package server

import (
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/rpc"
)

// Policy says which role may call which RPC. Whose things a grower may see and
// change is asked by the handlers: those of the own farm only.
func Policy() rpc.Policy {
	office := []identity.Role{identity.Coordinator, identity.Operator}
	growing := []identity.Role{identity.Coordinator, identity.Operator, identity.Grower}
	looking := []identity.Role{identity.Coordinator, identity.Operator, identity.Grower, identity.YardManager, identity.Service}
	feeding := []identity.Role{identity.Coordinator, identity.Operator, identity.Grower, identity.YardManager}
	return rpc.Policy{
		schedulingv1.SchedulingService_SaveCoop_FullMethodName:          office,
		schedulingv1.SchedulingService_GetCoop_FullMethodName:           identity.Roles(),
		schedulingv1.SchedulingService_SaveFarm_FullMethodName:          office,
		schedulingv1.SchedulingService_BatchSaveFarms_FullMethodName:    office,
		schedulingv1.SchedulingService_ListFarms_FullMethodName:         looking,
		schedulingv1.SchedulingService_SaveRoom_FullMethodName:          office,
		schedulingv1.SchedulingService_BatchSaveRooms_FullMethodName:    office,
		schedulingv1.SchedulingService_ListRooms_FullMethodName:         looking,
		schedulingv1.SchedulingService_SaveProgramme_FullMethodName:     office,
		schedulingv1.SchedulingService_ListProgrammes_FullMethodName:    looking,
		schedulingv1.SchedulingService_PlanCrop_FullMethodName:          growing,
		schedulingv1.SchedulingService_BatchPlanCrops_FullMethodName:    growing,
		schedulingv1.SchedulingService_RecordStage_FullMethodName:       growing,
		schedulingv1.SchedulingService_BatchRecordStages_FullMethodName: growing,
		schedulingv1.SchedulingService_EndCrop_FullMethodName:           growing,
		schedulingv1.SchedulingService_GetCalendar_FullMethodName:       looking,

		schedulingv1.SchedulingService_MoveCrop_FullMethodName:             growing,
		schedulingv1.SchedulingService_ShiftOverdue_FullMethodName:         growing,
		schedulingv1.SchedulingService_SaveFacility_FullMethodName:         office,
		schedulingv1.SchedulingService_ListFacilities_FullMethodName:       looking,
		schedulingv1.SchedulingService_SaveWorkingDays_FullMethodName:      office,
		schedulingv1.SchedulingService_GetWorkingDays_FullMethodName:       looking,
		schedulingv1.SchedulingService_GetDemand_FullMethodName:            office,
		schedulingv1.SchedulingService_SaveDemandOverride_FullMethodName:   office,
		schedulingv1.SchedulingService_SavePlanningSettings_FullMethodName: office,
		schedulingv1.SchedulingService_GetPlanningSettings_FullMethodName:  office,
		schedulingv1.SchedulingService_GetQuarter_FullMethodName:           growing,
		schedulingv1.SchedulingService_ProposeFills_FullMethodName:         office,
		schedulingv1.SchedulingService_AcceptFills_FullMethodName:          office,
		schedulingv1.SchedulingService_WhatIf_FullMethodName:               office,
		schedulingv1.SchedulingService_CreateFeed_FullMethodName:           feeding,
		schedulingv1.SchedulingService_ListFeeds_FullMethodName:            feeding,
		schedulingv1.SchedulingService_RevokeFeed_FullMethodName:           feeding,
		schedulingv1.SchedulingService_ReadFeed_FullMethodName:             {identity.Coordinator, identity.Operator, identity.Service},
		schedulingv1.SchedulingService_ExportCalendar_FullMethodName:       looking,
	}
}

// ownFarm refuses a grower the things of another farm.
func ownFarm(id identity.Identity, farmID string) error {
	if id.Role != identity.Grower || id.FarmID == farmID {
		return nil
	}
	return fault.New(fault.Forbidden, "OTHER_FARM", "that belongs to farm %q; a grower of farm %q sees and changes only the own farm's rooms and crops", farmID, id.FarmID)
}

// visibleFarm is the farm whose things the caller gets to see: the one asked for,
// for a grower the own, and "" for all.
func visibleFarm(id identity.Identity, asked string) (string, error) {
	if id.Role != identity.Grower {
		return asked, nil
	}
	if asked == "" {
		return id.FarmID, nil
	}
	return asked, ownFarm(id, asked)
}
