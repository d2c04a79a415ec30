package server

import (
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// words pairs an enumeration of the protos with the rules' words for it.
type words[E ~int32, W ~string] struct {
	word map[E]W
	enum map[W]E
}

func pair[E ~int32, W ~string](word map[E]W) words[E, W] {
	enum := make(map[W]E, len(word))
	for e, w := range word {
		enum[w] = e
	}
	return words[E, W]{word: word, enum: enum}
}

var systems = pair(map[typev1.GrowingSystem]programme.System{
	typev1.GrowingSystem_GROWING_SYSTEM_TRAYS:            programme.Trays,
	typev1.GrowingSystem_GROWING_SYSTEM_SHELVES:          programme.Shelves,
	typev1.GrowingSystem_GROWING_SYSTEM_BULK_PHASE_TWO:   programme.BulkPhaseII,
	typev1.GrowingSystem_GROWING_SYSTEM_BULK_PHASE_THREE: programme.BulkPhaseIII,
	typev1.GrowingSystem_GROWING_SYSTEM_BAGS:             programme.BagsOrBlocks,
})

var stageKinds = pair(map[schedulingv1.StageKind]programme.StageKind{
	schedulingv1.StageKind_STAGE_KIND_PHASE_ONE: programme.PhaseI,
	schedulingv1.StageKind_STAGE_KIND_PHASE_TWO: programme.PhaseII,
	schedulingv1.StageKind_STAGE_KIND_FILLING:   programme.Filling,
	schedulingv1.StageKind_STAGE_KIND_SPAWNING:  programme.Spawning,
	schedulingv1.StageKind_STAGE_KIND_SPAWN_RUN: programme.SpawnRun,
	schedulingv1.StageKind_STAGE_KIND_CASING:    programme.Casing,
	schedulingv1.StageKind_STAGE_KIND_CASE_RUN:  programme.CaseRun,
	schedulingv1.StageKind_STAGE_KIND_PINNING:   programme.Pinning,
	schedulingv1.StageKind_STAGE_KIND_CROPPING:  programme.Cropping,
	schedulingv1.StageKind_STAGE_KIND_COOK_OUT:  programme.CookOut,
	schedulingv1.StageKind_STAGE_KIND_IDLE:      programme.Idle,
})

var places = pair(map[schedulingv1.Place]programme.Place{
	schedulingv1.Place_PLACE_YARD:           programme.Yard,
	schedulingv1.Place_PLACE_TUNNEL:         programme.Tunnel,
	schedulingv1.Place_PLACE_PHASE_TWO_ROOM: programme.PhaseIIRoom,
	schedulingv1.Place_PLACE_SPAWN_RUN_ROOM: programme.SpawnRunRoom,
	schedulingv1.Place_PLACE_GROWING_ROOM:   programme.GrowingRoom,
})

var statuses = pair(map[schedulingv1.SourceStatus]programme.Status{
	schedulingv1.SourceStatus_SOURCE_STATUS_PUBLISHED:       programme.Published,
	schedulingv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE: programme.CommonPractice,
	schedulingv1.SourceStatus_SOURCE_STATUS_FROM_MEMORY:     programme.FromMemory,
	schedulingv1.SourceStatus_SOURCE_STATUS_OWN:             programme.Own,
})

var pickStages = pair(map[typev1.PickStage]programme.PickStage{
	typev1.PickStage_PICK_STAGE_UNSPECIFIED: programme.NoPickStage,
	typev1.PickStage_PICK_STAGE_CLOSED:      programme.Closed,
	typev1.PickStage_PICK_STAGE_VEILED:      programme.Veiled,
	typev1.PickStage_PICK_STAGE_OPEN:        programme.Open,
	typev1.PickStage_PICK_STAGE_FLAT:        programme.Flat,
})

var states = pair(map[schedulingv1.CropState]store.State{
	schedulingv1.CropState_CROP_STATE_PLANNED: store.Planned,
	schedulingv1.CropState_CROP_STATE_RUNNING: store.Running,
	schedulingv1.CropState_CROP_STATE_ENDED:   store.Ended,
})

// compostPhase is the phase of the compost with which a system is filled.
func compostPhase(system programme.System) typev1.CompostPhase {
	switch system.CompostPhase() {
	case 1:
		return typev1.CompostPhase_COMPOST_PHASE_ONE
	case 2:
		return typev1.CompostPhase_COMPOST_PHASE_TWO
	case 3:
		return typev1.CompostPhase_COMPOST_PHASE_THREE
	}
	return typev1.CompostPhase_COMPOST_PHASE_UNSPECIFIED
}
