package importer

import (
	"slices"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
)

// The words of the files in the terms of the services. The reader lets no other word pass.
var (
	systems = map[string]typev1.GrowingSystem{
		"trays":            typev1.GrowingSystem_GROWING_SYSTEM_TRAYS,
		"shelves":          typev1.GrowingSystem_GROWING_SYSTEM_SHELVES,
		"bulk_phase_two":   typev1.GrowingSystem_GROWING_SYSTEM_BULK_PHASE_TWO,
		"bulk_phase_three": typev1.GrowingSystem_GROWING_SYSTEM_BULK_PHASE_THREE,
		"bags":             typev1.GrowingSystem_GROWING_SYSTEM_BAGS,
	}
	phases = map[string]typev1.CompostPhase{
		"one":   typev1.CompostPhase_COMPOST_PHASE_ONE,
		"two":   typev1.CompostPhase_COMPOST_PHASE_TWO,
		"three": typev1.CompostPhase_COMPOST_PHASE_THREE,
	}
	pickStages = map[string]typev1.PickStage{
		"":       typev1.PickStage_PICK_STAGE_UNSPECIFIED,
		"closed": typev1.PickStage_PICK_STAGE_CLOSED,
		"veiled": typev1.PickStage_PICK_STAGE_VEILED,
		"open":   typev1.PickStage_PICK_STAGE_OPEN,
		"flat":   typev1.PickStage_PICK_STAGE_FLAT,
	}
	stageKinds = map[string]schedulingv1.StageKind{
		"filling":   schedulingv1.StageKind_STAGE_KIND_FILLING,
		"phase_two": schedulingv1.StageKind_STAGE_KIND_PHASE_TWO,
		"spawning":  schedulingv1.StageKind_STAGE_KIND_SPAWNING,
		"spawn_run": schedulingv1.StageKind_STAGE_KIND_SPAWN_RUN,
		"casing":    schedulingv1.StageKind_STAGE_KIND_CASING,
		"case_run":  schedulingv1.StageKind_STAGE_KIND_CASE_RUN,
		"pinning":   schedulingv1.StageKind_STAGE_KIND_PINNING,
		"cropping":  schedulingv1.StageKind_STAGE_KIND_CROPPING,
		"cook_out":  schedulingv1.StageKind_STAGE_KIND_COOK_OUT,
		"idle":      schedulingv1.StageKind_STAGE_KIND_IDLE,
	}
	climateKinds = map[string]harvestv1.ClimateKind{
		"air_temperature":     harvestv1.ClimateKind_CLIMATE_KIND_AIR_TENTHS_C,
		"humidity":            harvestv1.ClimateKind_CLIMATE_KIND_HUMIDITY_PERCENT,
		"carbon_dioxide":      harvestv1.ClimateKind_CLIMATE_KIND_CO2_PPM,
		"compost_temperature": harvestv1.ClimateKind_CLIMATE_KIND_COMPOST_TENTHS_C,
	}
	marks = map[string]compostlotv1.PhaseMark{
		"wetted":       compostlotv1.PhaseMark_PHASE_MARK_WETTED,
		"filled":       compostlotv1.PhaseMark_PHASE_MARK_FILLED,
		"levelling":    compostlotv1.PhaseMark_PHASE_MARK_LEVELLING,
		"pasteurising": compostlotv1.PhaseMark_PHASE_MARK_PASTEURISING,
		"conditioning": compostlotv1.PhaseMark_PHASE_MARK_CONDITIONING,
		"cooling":      compostlotv1.PhaseMark_PHASE_MARK_COOLING,
		"cooled":       compostlotv1.PhaseMark_PHASE_MARK_COOLED,
		"spawned":      compostlotv1.PhaseMark_PHASE_MARK_SPAWNED,
		"colonised":    compostlotv1.PhaseMark_PHASE_MARK_COLONISED,
	}
	readingKinds = map[string]compostlotv1.ReadingKind{
		"compost_temperature": compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE,
		"air_temperature":     compostlotv1.ReadingKind_READING_KIND_AIR_TEMPERATURE,
		"ammonia":             compostlotv1.ReadingKind_READING_KIND_AMMONIA,
		"oxygen":              compostlotv1.ReadingKind_READING_KIND_OXYGEN,
		"moisture":            compostlotv1.ReadingKind_READING_KIND_MOISTURE,
		"nitrogen":            compostlotv1.ReadingKind_READING_KIND_NITROGEN,
		"ph":                  compostlotv1.ReadingKind_READING_KIND_PH,
		"carbon_dioxide":      compostlotv1.ReadingKind_READING_KIND_CARBON_DIOXIDE,
		"hydrogen_sulphide":   compostlotv1.ReadingKind_READING_KIND_HYDROGEN_SULPHIDE,
	}
)

// phasesOf are the phases in the order of the process.
func phasesOf(words []string) []typev1.CompostPhase {
	out := make([]typev1.CompostPhase, len(words))
	for i, w := range words {
		out[i] = phases[w]
	}
	slices.Sort(out)
	return out
}
