package server

import (
	"context"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/rpc"
)

// Policy says which role may call what. Whose things a caller may touch is settled by ownYard
// and ownFarm: a yard manager changes things of the own yard, a grower asks for the own farm
// and sees its requests only. Slots and lots are for every member to see.
func Policy() rpc.Policy {
	const (
		coordinator = identity.Coordinator
		grower      = identity.Grower
		yardManager = identity.YardManager
		operator    = identity.Operator
		service     = identity.Service
	)
	members := []identity.Role{coordinator, grower, yardManager, operator, service}
	yards := []identity.Role{coordinator, yardManager}
	return rpc.Policy{
		compostlotv1.CompostLotService_SaveYard_FullMethodName:            yards,
		compostlotv1.CompostLotService_BatchSaveYards_FullMethodName:      {coordinator},
		compostlotv1.CompostLotService_ListYards_FullMethodName:           members,
		compostlotv1.CompostLotService_SaveRecipe_FullMethodName:          yards,
		compostlotv1.CompostLotService_ListRecipes_FullMethodName:         members,
		compostlotv1.CompostLotService_BlendRecipe_FullMethodName:         members,
		compostlotv1.CompostLotService_PublishSlots_FullMethodName:        yards,
		compostlotv1.CompostLotService_PublishSlotSeries_FullMethodName:   yards,
		compostlotv1.CompostLotService_WithdrawSlot_FullMethodName:        yards,
		compostlotv1.CompostLotService_RequestForCrop_FullMethodName:      {coordinator, grower},
		compostlotv1.CompostLotService_WhatIfWider_FullMethodName:         {coordinator, grower},
		compostlotv1.CompostLotService_GetShareSettings_FullMethodName:    members,
		compostlotv1.CompostLotService_SaveShareSettings_FullMethodName:   {coordinator},
		compostlotv1.CompostLotService_SaveHaulCosts_FullMethodName:       {coordinator},
		compostlotv1.CompostLotService_ListHaulCosts_FullMethodName:       members,
		compostlotv1.CompostLotService_ListSlots_FullMethodName:           members,
		compostlotv1.CompostLotService_RequestCompost_FullMethodName:      {coordinator, grower},
		compostlotv1.CompostLotService_BatchRequestCompost_FullMethodName: {coordinator, grower},
		compostlotv1.CompostLotService_ListCompostRequests_FullMethodName: members,
		compostlotv1.CompostLotService_ShareOut_FullMethodName:            yards, // confirming: the coordinator only
		compostlotv1.CompostLotService_OpenLot_FullMethodName:             yards,
		compostlotv1.CompostLotService_BatchOpenLots_FullMethodName:       yards,
		compostlotv1.CompostLotService_ListLots_FullMethodName:            members,
		compostlotv1.CompostLotService_MarkPhases_FullMethodName:          yards,
		compostlotv1.CompostLotService_SetLotRecipe_FullMethodName:        yards,
		compostlotv1.CompostLotService_RecordTurn_FullMethodName:          yards,
		compostlotv1.CompostLotService_RecordHeap_FullMethodName:          yards,
		compostlotv1.CompostLotService_SaveProbe_FullMethodName:           yards,
		compostlotv1.CompostLotService_RecordReadings_FullMethodName:      yards,
		compostlotv1.CompostLotService_ListRefusedReadings_FullMethodName: {coordinator, yardManager, operator},
		compostlotv1.CompostLotService_GetLotReport_FullMethodName:        members,
		compostlotv1.CompostLotService_GetLotChart_FullMethodName:         members,
		compostlotv1.CompostLotService_GetLotDocument_FullMethodName:      members,
		compostlotv1.CompostLotService_GetEntryChecklist_FullMethodName:   members,
		compostlotv1.CompostLotService_GetReleaseRules_FullMethodName:     members,
		compostlotv1.CompostLotService_SaveReleaseRules_FullMethodName:    {coordinator},
		compostlotv1.CompostLotService_ReleaseLot_FullMethodName:          yards,
		compostlotv1.CompostLotService_BatchReleaseLots_FullMethodName:    yards,
		compostlotv1.CompostLotService_HoldLot_FullMethodName:             yards,
		compostlotv1.CompostLotService_DeliverLot_FullMethodName:          yards,
		compostlotv1.CompostLotService_BatchDeliverLots_FullMethodName:    yards,
	}
}

// ownYard refuses a yard manager who reaches for another yard.
func ownYard(ctx context.Context, path, yardID string) error {
	id := identity.Must(ctx)
	if id.Role != identity.YardManager || id.YardID == yardID {
		return nil
	}
	return fault.New(fault.Forbidden, ReasonNotYours, "this belongs to yard %q, and you stand for yard %q: ask its manager or the coordinator", yardID, id.YardID).
		WithField(path, "belongs to another yard")
}

// ownFarm refuses a grower who reaches for another farm.
func ownFarm(ctx context.Context, path, farmID string) error {
	id := identity.Must(ctx)
	if id.Role != identity.Grower || id.FarmID == farmID {
		return nil
	}
	return fault.New(fault.Forbidden, ReasonNotYours, "this belongs to farm %q, and you stand for farm %q: ask that farm or the coordinator", farmID, id.FarmID).
		WithField(path, "belongs to another farm")
}
