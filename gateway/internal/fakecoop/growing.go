package fakecoop

import (
	"context"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
)

// Growing is how crops are grown and planned.
type Growing struct {
	Programmes []*schedulingv1.Programme
	Plans      []*schedulingv1.PlanCropRequest // taken
}

// TightWeek is the Monday of a week in which every fill is over the yards' tonnes.
const TightWeek = "2027-03-01"

// daysToPick are from filling to the first pick of every crop here.
const daysToPick = 45

// PlanCrop plans from a fill date, or so many days before a wanted first pick.
func (s *scheduling) PlanCrop(_ context.Context, req *schedulingv1.PlanCropRequest) (*schedulingv1.Crop, error) {
	return once(s.c, "PlanCrop", req, func() (*schedulingv1.Crop, error) {
		plan, path := req.GetPlan(), "plan.fill_date"
		fill := plan.GetFillDate()
		if fill == "" {
			path, fill = "plan.first_pick_date", daysLater(plan.GetFirstPickDate(), -daysToPick)
		}
		id := plan.GetRoomId() + "-" + strings.ReplaceAll(fill, "-", "")
		room := s.c.room(plan.GetRoomId())
		if room == nil {
			return nil, notFound("room", plan.GetRoomId())
		}
		planned := crop(id, room.GetRoomId(), room.GetFarmId(), "white mushroom", fill, 1)
		planned.ProgrammeId, planned.State = plan.GetProgrammeId(), schedulingv1.CropState_CROP_STATE_PLANNED
		for _, c := range s.c.Crops {
			if c.GetRoomId() == room.GetRoomId() && fill < c.GetFreeDate() && c.GetFillDate() < planned.GetFreeDate() {
				return nil, fault.New(fault.Precondition, "ROOM_TAKEN", "room %q is held by %q and %q", room.GetRoomId(), c.GetCropId(), id).WithField(path, "the room is held").
					WithMeta("roomId", room.GetRoomId()).WithMeta("firstCropId", c.GetCropId()).WithMeta("secondCropId", id).
					WithMeta("fromDate", fill).WithMeta("untilDate", c.GetFreeDate()).WithMeta("moveCropId", id).WithMeta("moveDays", "4")
			}
		}
		if fill >= TightWeek && fill < daysLater(TightWeek, 7) && !req.GetBeyondSlots() {
			return nil, fault.New(fault.Precondition, "OVER_THE_YARDS_TONNES", "plan.fill_date: in the week of %s the planned fills need 22000 kg of phase 2 compost, but the published slots give 20000 kg", TightWeek).
				WithField("plan.fill_date", "needs more compost than the slots of the week give").
				WithMeta("week", TightWeek).WithMeta("needKg", "22000").WithMeta("capacityKg", "20000")
		}
		s.c.Crops = append(s.c.Crops, planned)
		s.c.Plans = append(s.c.Plans, req)
		return proto.CloneOf(planned), nil
	})
}

func (c *Coop) room(id string) *schedulingv1.Room {
	for _, r := range c.Rooms {
		if r.GetRoomId() == id {
			return r
		}
	}
	return nil
}

func daysLater(date string, days int) string {
	day, _ := time.Parse(time.DateOnly, date)
	return day.AddDate(0, 0, days).Format(time.DateOnly)
}

// ListProgrammes answers with two programmes: one that comes with the suite, one of the co-op's.
func (s *scheduling) ListProgrammes(context.Context, *schedulingv1.ListProgrammesRequest) (*schedulingv1.ListProgrammesResponse, error) {
	return read(s.c, "ListProgrammes", func() (*schedulingv1.ListProgrammesResponse, error) {
		res := &schedulingv1.ListProgrammesResponse{}
		for _, p := range s.c.Programmes {
			res.Programmes = append(res.Programmes, proto.CloneOf(p))
		}
		return res, nil
	})
}

func (c *Coop) fillProgrammes() {
	days := func(least, usual, most int64, source string) *schedulingv1.Range {
		return &schedulingv1.Range{Least: least, Usual: usual, Most: most, Source: source}
	}
	stage := func(kind schedulingv1.StageKind, d *schedulingv1.Range) *schedulingv1.ProgrammeStage {
		return &schedulingv1.ProgrammeStage{Kind: kind, Place: schedulingv1.Place_PLACE_GROWING_ROOM, Days: d, WorkMinutesPerM2: &schedulingv1.Value{Value: 4, Source: "practice"}}
	}
	white := &schedulingv1.Programme{
		ProgrammeId: "white-shelves", Version: 1, Etag: "1", BuiltIn: true, Name: "White mushroom on shelves", Species: "white mushroom", Latin: "Agaricus bisporus", Strain: "white hybrid strain",
		GrowingSystem: typev1.GrowingSystem_GROWING_SYSTEM_SHELVES, CompostPhase: typev1.CompostPhase_COMPOST_PHASE_TWO,
		Stages: []*schedulingv1.ProgrammeStage{
			stage(schedulingv1.StageKind_STAGE_KIND_FILLING, days(0, 0, 2, "practice")), stage(schedulingv1.StageKind_STAGE_KIND_SPAWN_RUN, days(14, 17, 21, "spawn-run")),
			stage(schedulingv1.StageKind_STAGE_KIND_CASING, days(0, 0, 2, "practice")), stage(schedulingv1.StageKind_STAGE_KIND_CASE_RUN, days(7, 9, 10, "practice")),
			stage(schedulingv1.StageKind_STAGE_KIND_PINNING, days(7, 9, 11, "practice")), stage(schedulingv1.StageKind_STAGE_KIND_CROPPING, days(35, 37, 42, "practice")),
			stage(schedulingv1.StageKind_STAGE_KIND_COOK_OUT, days(1, 1, 2, "practice")),
		},
		Inputs: &schedulingv1.ProgrammeInputs{
			Compost: &schedulingv1.ProgrammeInput{GramsPerM2: 99_300, Definition: "wet compost as filled", Source: "practice"},
			Spawn:   &schedulingv1.ProgrammeInput{GramsPerM2: 700, Definition: "grain spawn, of the wet compost", Source: "practice"},
			Casing:  &schedulingv1.ProgrammeInput{GramsPerM2: 30_000, Definition: "wet casing", Source: "practice"},
		},
		Breaks: &schedulingv1.BreakProfile{
			After: schedulingv1.StageKind_STAGE_KIND_CASING, FirstPickDays: days(15, 18, 21, "practice"), IntervalDays: days(7, 8, 10, "practice"), WidthDays: days(3, 4, 5, "practice"),
			Shares: &schedulingv1.Shares{PerMille: []int64{400, 330, 180, 90}, Source: "practice"}, YieldGramsPerM2: days(20_000, 28_100, 33_000, "practice"),
		},
		Bears: []*schedulingv1.Bearing{
			{PickStage: typev1.PickStage_PICK_STAGE_CLOSED, PerMille: 700, Source: "practice"}, {PickStage: typev1.PickStage_PICK_STAGE_OPEN, PerMille: 300, Source: "practice"},
		},
		Sources: map[string]*schedulingv1.Source{
			"spawn-run": {Text: "14-21 d: D. M. Beyer, Basic Procedures for Agaricus Mushroom Growing, Penn State", Status: schedulingv1.SourceStatus_SOURCE_STATUS_PUBLISHED},
			"practice":  {Text: "common practice, no source", Status: schedulingv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE},
		},
	}
	white.Stages[1].Caution = "Carbon dioxide builds up in a closed room during spawn run; air it and measure before staying."
	brown := proto.CloneOf(white)
	brown.ProgrammeId, brown.Version, brown.Etag, brown.BuiltIn = "brown-trays", 3, "3", false
	brown.Name, brown.Species, brown.Strain, brown.GrowingSystem = "Brown mushroom on trays", "brown mushroom", "brown strain", typev1.GrowingSystem_GROWING_SYSTEM_TRAYS
	c.Programmes = []*schedulingv1.Programme{brown, white}
}

// SaveProgramme keeps programmes whose days do not fall and whose first pick agrees with its
// steps.
func (s *scheduling) SaveProgramme(_ context.Context, req *schedulingv1.SaveProgrammeRequest) (*schedulingv1.Programme, error) {
	return once(s.c, "SaveProgramme", req, func() (*schedulingv1.Programme, error) {
		p := proto.CloneOf(req.GetProgramme())
		var wrong *fault.Error
		refuse := func(path, detail string) {
			if wrong == nil {
				wrong = fault.New(fault.Invalid, "INVALID_PROGRAMME", "crop programme %q cannot be used", p.GetProgrammeId())
			}
			wrong = wrong.WithField("programme."+path, "%s", detail)
		}
		toPick := int64(0)
		for i, stage := range p.GetStages() {
			if d := stage.GetDays(); d.GetLeast() > d.GetUsual() || d.GetUsual() > d.GetMost() {
				refuse("stages["+itoa(i)+"].days", "they must not fall")
			}
			switch stage.GetKind() {
			case schedulingv1.StageKind_STAGE_KIND_CASING, schedulingv1.StageKind_STAGE_KIND_CASE_RUN, schedulingv1.StageKind_STAGE_KIND_PINNING:
				toPick += stage.GetDays().GetUsual()
			}
		}
		if p.GetBreaks().GetFirstPickDays().GetUsual() != toPick {
			refuse("breaks.first_pick_days", "make the usual days equal")
		}
		if wrong != nil {
			return nil, wrong
		}
		p.Version = 1
		at := slices.IndexFunc(s.c.Programmes, func(one *schedulingv1.Programme) bool { return one.GetProgrammeId() == p.GetProgrammeId() })
		if at >= 0 {
			if s.c.Programmes[at].GetEtag() != p.GetEtag() {
				return nil, fault.New(fault.Stale, "STALE_ETAG", "Piotr changed it at 13:20.")
			}
			p.Version = s.c.Programmes[at].GetVersion() + 1
			s.c.Programmes = slices.Delete(s.c.Programmes, at, at+1)
		}
		p.Etag = itoa(int(p.GetVersion()))
		s.c.Programmes = append(s.c.Programmes, p)
		return proto.CloneOf(p), nil
	})
}
