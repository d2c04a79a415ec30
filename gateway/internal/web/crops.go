package web

import (
	"strings"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

// cropOn is the crop that stands in a room on a day; nil where it is empty.
func cropOn(crops []*schedulingv1.Crop, room, day string) *schedulingv1.Crop {
	for _, c := range crops {
		if c.GetRoomId() == room && c.GetState() != schedulingv1.CropState_CROP_STATE_ENDED && c.GetFillDate() <= day && day < c.GetFreeDate() {
			return c
		}
	}
	return nil
}

// stageOn is the step that a crop is in on a day; nil where it is in none.
func stageOn(c *schedulingv1.Crop, day string) *schedulingv1.CropStage {
	for _, s := range c.GetStages() {
		if s.GetStartDate() <= day && day < s.GetEndDate() {
			return s
		}
	}
	return nil
}

// nextStage is the first step of a crop that has not begun by a day; nil where there is none.
func nextStage(c *schedulingv1.Crop, day string) *schedulingv1.CropStage {
	for _, s := range c.GetStages() {
		if s.GetStartDate() > day {
			return s
		}
	}
	return nil
}

// stageKey is the key of a step's name: "stage.spawn_run"; an empty room's is "stage.empty".
func stageKey(s *schedulingv1.CropStage) string {
	if s == nil {
		return "stage.empty"
	}
	return kindKey(s.GetKind())
}

func kindKey(kind schedulingv1.StageKind) string {
	return "stage." + strings.ToLower(strings.TrimPrefix(kind.String(), "STAGE_KIND_"))
}
