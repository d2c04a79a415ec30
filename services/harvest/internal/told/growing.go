package told

import (
	"errors"
	"fmt"
	"time"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/forecast"
	"breakshare.example/services/harvest/internal/growth"
	"breakshare.example/services/harvest/internal/store"
)

// stageWords are the stages of picking as harvest keeps them; a product or
// bearing without a stage has the empty word.
var stageWords = map[typev1.PickStage]string{
	typev1.PickStage_PICK_STAGE_CLOSED: "closed",
	typev1.PickStage_PICK_STAGE_VEILED: "veiled",
	typev1.PickStage_PICK_STAGE_OPEN:   "open",
	typev1.PickStage_PICK_STAGE_FLAT:   "flat",
}

// PickStage is the stage as calls show it.
func PickStage(word string) typev1.PickStage {
	for stage, w := range stageWords {
		if w == word {
			return stage
		}
	}
	return typev1.PickStage_PICK_STAGE_UNSPECIFIED
}

// PickStageWord is the stage as harvest keeps it.
func PickStageWord(s typev1.PickStage) string { return stageWords[s] }

var stepWords = map[schedulingv1.StageKind]growth.Step{
	schedulingv1.StageKind_STAGE_KIND_FILLING:   growth.Filling,
	schedulingv1.StageKind_STAGE_KIND_PHASE_TWO: "phase two",
	schedulingv1.StageKind_STAGE_KIND_SPAWNING:  growth.Spawning,
	schedulingv1.StageKind_STAGE_KIND_SPAWN_RUN: "spawn run",
	schedulingv1.StageKind_STAGE_KIND_CASING:    growth.Casing,
	schedulingv1.StageKind_STAGE_KIND_CASE_RUN:  "case run",
	schedulingv1.StageKind_STAGE_KIND_PINNING:   growth.Pinning,
	schedulingv1.StageKind_STAGE_KIND_CROPPING:  growth.Cropping,
	schedulingv1.StageKind_STAGE_KIND_COOK_OUT:  growth.CookOut,
	schedulingv1.StageKind_STAGE_KIND_IDLE:      growth.Idle,
}

// StepWord is a step as harvest keeps it; empty for one that happens at the
// yard.
func StepWord(k schedulingv1.StageKind) growth.Step { return stepWords[k] }

// CheckZone refuses a time zone that this machine does not know.
func CheckZone(name string) error {
	if name == "" {
		return errors.New("the co-op's time zone is missing")
	}
	_, err := time.LoadLocation(name)
	return err
}

// Coop reads a co-op's settings.
func Coop(e *schedulingv1.CoopSaved) store.Coop {
	return store.Coop{TimeZone: e.GetCoop().GetTimeZone(), CurrencyCode: e.GetCoop().GetCurrencyCode(), Version: e.GetVersion()}
}

// steps reads the dates of a crop's steps, those at the yard left out.
func steps(c *schedulingv1.Crop) ([]growth.StepDate, error) {
	var out []growth.StepDate
	for _, s := range c.GetStages() {
		word, ok := stepWords[s.GetKind()]
		if !ok {
			continue
		}
		step := growth.StepDate{Step: word, Real: s.ActualStartDate != nil}
		text := s.GetStartDate()
		if step.Real {
			text = s.GetActualStartDate()
		}
		var err error
		if step.Start, err = day.Parse(text); err != nil {
			return nil, fmt.Errorf("crop %s: %s: %w", c.GetCropId(), word, err)
		}
		if s.GetDays() != nil {
			days := reading(c, s.GetDays())
			step.Days = &days
		}
		out = append(out, step)
	}
	return out, nil
}

// profile reads how the crop bears; nil where the message leaves it out.
func profile(c *schedulingv1.Crop) *growth.Profile {
	b := c.GetBreaks()
	if b == nil {
		return nil
	}
	p := &growth.Profile{
		After: stepWords[b.GetAfter()], FirstPick: reading(c, b.GetFirstPickDays()), Interval: reading(c, b.GetIntervalDays()),
		Width: reading(c, b.GetWidthDays()), Shares: b.GetShares().GetPerMille(), Yield: reading(c, b.GetYieldGramsPerM2()),
	}
	for _, s := range c.GetBears() {
		p.Bears = append(p.Bears, growth.Share{Stage: stageWords[s.GetPickStage()], PerMille: s.GetPerMille()})
	}
	return p
}

var bases = map[schedulingv1.SourceStatus]forecast.Basis{
	schedulingv1.SourceStatus_SOURCE_STATUS_PUBLISHED:       forecast.Published,
	schedulingv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE: forecast.CommonPractice,
	schedulingv1.SourceStatus_SOURCE_STATUS_FROM_MEMORY:     forecast.FromMemory,
	schedulingv1.SourceStatus_SOURCE_STATUS_OWN:             forecast.Learned,
}

// reading reads a range with its source, where the crop carries it.
func reading(c *schedulingv1.Crop, r *schedulingv1.Range) growth.Range {
	source := c.GetSources()[r.GetSource()]
	return growth.Range{Least: r.GetLeast(), Usual: r.GetUsual(), Most: r.GetMost(), Source: source.GetText(), Basis: bases[source.GetStatus()]}
}
