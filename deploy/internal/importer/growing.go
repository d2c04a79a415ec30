package importer

import (
	"cmp"
	"context"
	"slices"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

// crops plans the crops that the suite does not have. One that it has stays as it is: its
// dates have moved on with what really happened.
func (r *run) crops(ctx context.Context) (Outcome, error) {
	var p pending[*schedulingv1.CropPlan]
	for _, c := range r.files.Crops {
		present, known := r.have.crops[c.CropID]
		switch {
		case !known:
		case present.GetRoomId() != c.RoomID:
			return Outcome{}, refuse("crops.csv", c.Line, "room_id", "the suite has crop %s in room %s: give another crop another crop_id", c.CropID, present.GetRoomId())
		case present.GetProgrammeId() != c.ProgrammeID:
			return Outcome{}, refuse("crops.csv", c.Line, "programme_id", "the suite grows crop %s by %s: give another crop another crop_id", c.CropID, present.GetProgrammeId())
		case present.GetState() == schedulingv1.CropState_CROP_STATE_PLANNED && c.FillDate != "" && present.GetFillDate() != c.FillDate:
			return Outcome{}, refuse("crops.csv", c.Line, "fill_date", "the suite has crop %s planned for %s, and an import moves no crop: move it there, or write that day", c.CropID, present.GetFillDate())
		default:
			p.same++
			continue
		}
		plan := &schedulingv1.CropPlan{CropId: c.CropID, RoomId: c.RoomID, ProgrammeId: c.ProgrammeID}
		if c.FillDate != "" {
			plan.From = &schedulingv1.CropPlan_FillDate{FillDate: c.FillDate}
		} else {
			plan.From = &schedulingv1.CropPlan_FirstPickDate{FirstPickDate: c.FirstPickDate}
		}
		p.fresh = append(p.fresh, item[*schedulingv1.CropPlan]{plan, []int{c.Line}})
	}
	return save(ctx, r, source{file: "crops.csv"}, p, func(list []*schedulingv1.CropPlan) *schedulingv1.BatchPlanCropsRequest {
		return &schedulingv1.BatchPlanCropsRequest{Plans: list}
	}, r.Scheduling.BatchPlanCrops)
}

// stages records the real dates that the suite does not have, in the order in which they
// happened.
func (r *run) stages(ctx context.Context) (Outcome, error) {
	var p pending[*schedulingv1.StageRecord]
	for _, s := range r.files.Stages {
		record := item[*schedulingv1.StageRecord]{&schedulingv1.StageRecord{CropId: s.CropID, Kind: stageKinds[s.Kind], Date: s.Date}, []int{s.Line}}
		switch present := recorded(r.have.crops[s.CropID], stageKinds[s.Kind]); present {
		case s.Date:
			p.same++
		case "":
			p.fresh = append(p.fresh, record)
		default:
			p.changed = append(p.changed, record)
		}
	}
	byDay := func(a, b item[*schedulingv1.StageRecord]) int {
		return cmp.Or(cmp.Compare(a.message.GetDate(), b.message.GetDate()), cmp.Compare(a.message.GetKind(), b.message.GetKind()))
	}
	slices.SortStableFunc(p.fresh, byDay)
	slices.SortStableFunc(p.changed, byDay)
	return save(ctx, r, source{file: "stages.csv"}, p, func(list []*schedulingv1.StageRecord) *schedulingv1.BatchRecordStagesRequest {
		return &schedulingv1.BatchRecordStagesRequest{Records: list}
	}, r.Scheduling.BatchRecordStages)
}

// recorded is the real date of a step, empty where none is known.
func recorded(c *schedulingv1.Crop, kind schedulingv1.StageKind) string {
	for _, s := range c.GetStages() {
		if s.GetKind() == kind {
			return s.GetActualStartDate()
		}
	}
	return ""
}
