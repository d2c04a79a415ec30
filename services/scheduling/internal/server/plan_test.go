package server_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// day is the number of days since 1970 of an ISO date.
func day(t testing.TB, date string) int {
	t.Helper()
	at, err := time.Parse(time.DateOnly, date)
	if err != nil {
		t.Fatal(err)
	}
	return int(at.Unix() / 86_400)
}

// shifted is the ISO date so many days later.
func shifted(t testing.TB, date string, days int) string {
	t.Helper()
	return time.Unix(int64(day(t, date)+days)*86_400, 0).UTC().Format(time.DateOnly)
}

func stage(t testing.TB, c *schedulingv1.Crop, kind schedulingv1.StageKind) *schedulingv1.CropStage {
	t.Helper()
	for _, s := range c.GetStages() {
		if s.GetKind() == kind {
			return s
		}
	}
	t.Fatalf("crop %s has no %s", c.GetCropId(), kind)
	return nil
}

// The six steps of Agaricus growing against the published ranges: phase I 6-14 d
// (AMB Express 2017, doi 10.1186/s13568-017-0438-6); phase II 7-18 d, spawn run
// 14-21 d, casing to first pick 15-21 d (D. M. Beyer, Basic Procedures for
// Agaricus Mushroom Growing, Penn State); harvest usually 35-42 d and the whole
// cycle about 14 weeks (Six Steps to Mushroom Farming, Penn State).
func TestSixStepsOverTheCalls(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	const (
		phaseOne = schedulingv1.StageKind_STAGE_KIND_PHASE_ONE
		phaseTwo = schedulingv1.StageKind_STAGE_KIND_PHASE_TWO
		spawnRun = schedulingv1.StageKind_STAGE_KIND_SPAWN_RUN
		casing   = schedulingv1.StageKind_STAGE_KIND_CASING
		cropping = schedulingv1.StageKind_STAGE_KIND_CROPPING
		cookOut  = schedulingv1.StageKind_STAGE_KIND_COOK_OUT
	)
	for _, crop := range []*schedulingv1.Crop{
		r.plan(t, fill("elm-end-1", "white-shelves", "2026-04-06")),
		r.plan(t, fill("gorse-hill-1", "brown-bulk-2", "2026-04-06")),
	} {
		start := func(kind schedulingv1.StageKind) int { return day(t, stage(t, crop, kind).GetStartDate()) }
		end := func(kind schedulingv1.StageKind) int { return day(t, stage(t, crop, kind).GetEndDate()) }
		for _, c := range []struct {
			step        string
			days        int
			least, most int
		}{
			{"phase I", end(phaseOne) - start(phaseOne), 6, 14},
			{"phase II", end(phaseTwo) - start(phaseTwo), 7, 18},
			{"spawn run", end(spawnRun) - start(spawnRun), 14, 21},
			{"casing to first pick", start(cropping) - start(casing), 15, 21},
			{"harvest", end(cropping) - start(cropping), 35, 42},
			{"whole cycle, 14 weeks give or take one", start(cookOut) - start(phaseOne), 91, 105},
			{"first pick after 7 to 8 weeks", start(cropping) - start(phaseOne), 49, 56},
		} {
			if c.days < c.least || c.days > c.most {
				t.Errorf("%s: %s takes %d d, published %d-%d", crop.GetProgrammeId(), c.step, c.days, c.least, c.most)
			}
		}
		if crop.GetFirstPickDate() != stage(t, crop, cropping).GetStartDate() {
			t.Errorf("first pick %s, cropping from %s", crop.GetFirstPickDate(), stage(t, crop, cropping).GetStartDate())
		}
	}
}

// Forwards then backwards returns the same crop, and the event tells it.
func TestPlanForwardsAndBackwards(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	forwards := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	if forwards.GetCropId() != "gorse-hill-1-20260406" || forwards.GetState() != schedulingv1.CropState_CROP_STATE_PLANNED ||
		forwards.GetFarmId() != "gorse-hill" || forwards.GetSpecies() != "white mushroom" || forwards.GetAreaM2() != 200 {
		t.Errorf("planned %v", forwards)
	}
	// 200 m² at 99.3 kg compost, 0.7 kg spawn, 30 kg casing and 1.18 kg supplement.
	if forwards.GetCompostGrams() != 19_860_000 || forwards.GetSpawnGrams() != 140_000 || forwards.GetCasingGrams() != 6_000_000 ||
		forwards.GetSupplementGrams() != 236_000 || forwards.GetCompostPhase() != typev1.CompostPhase_COMPOST_PHASE_TWO {
		t.Errorf("needs %v", forwards)
	}
	var bears []typev1.PickStage
	for _, b := range forwards.GetBears() {
		bears = append(bears, b.GetPickStage())
		if forwards.GetSources()[b.GetSource()] == nil {
			t.Errorf("source %q of %s is not in the crop", b.GetSource(), b.GetPickStage())
		}
	}
	diff(t, "bears", []typev1.PickStage{typev1.PickStage_PICK_STAGE_CLOSED, typev1.PickStage_PICK_STAGE_VEILED, typev1.PickStage_PICK_STAGE_OPEN}, bears)
	for _, s := range forwards.GetStages() {
		if forwards.GetSources()[s.GetDays().GetSource()] == nil {
			t.Errorf("source %q of %s is not in the crop", s.GetDays().GetSource(), s.GetKind())
		}
	}

	if forwards.GetSources()["labour"] != nil {
		t.Error("the crop carries a source that nothing in it names")
	}

	again := r.plan(t, firstPick("gorse-hill-1", "white-bulk-2", forwards.GetFirstPickDate()))
	diff(t, "backwards", forwards, again, protocmp.Transform())
	events := r.events(t)
	diff(t, "event", proto.Message(&schedulingv1.CropPlanned{Crop: forwards}), events[len(events)-1].Payload, protocmp.Transform())
	diff(t, "one event", "crop.planned "+forwards.GetCropId(), subjects(events)[4])
}

func TestRefusedPlans(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	taken := fill("elm-end-1", "white-shelves", "2026-04-06")
	taken.CropId = "spring"
	r.plan(t, taken)
	sameID := fill("gorse-hill-1", "white-bulk-2", "2026-04-06")
	sameID.CropId = "spring"
	long := room("a23456789-b23456789-c23456789-d23456789-e23456789-f23456789", "elm-end", typev1.GrowingSystem_GROWING_SYSTEM_BAGS)
	must[*schedulingv1.Room](t)(r.SaveRoom(r.office(t), &schedulingv1.SaveRoomRequest{RequestId: ids.New(), Room: long}))
	good := fill("gorse-hill-1", "white-bulk-2", "2026-04-06")
	for _, c := range []struct {
		name   string
		plan   *schedulingv1.CropPlan
		kind   fault.Kind
		reason string
		field  string
	}{
		{"room not there", fill("elm-end-9", "white-shelves", "2026-04-06"), fault.NotFound, "UNKNOWN_ROOM", "room_id"},
		{"programme not there", fill("elm-end-1", "white-cellar", "2026-04-06"), fault.NotFound, "UNKNOWN_PROGRAMME", "programme_id"},
		{"bags in a shelf room", fill("elm-end-1", "oyster-bags", "2026-04-06"), fault.Precondition, "SYSTEM_DOES_NOT_FIT", "programme_id"},
		{"30 February", fill("gorse-hill-1", "white-bulk-2", "2026-02-30"), fault.Invalid, fault.ReasonInvalidField, "fill_date"},
		{"31 April", firstPick("gorse-hill-1", "white-bulk-2", "2026-04-31"), fault.Invalid, fault.ReasonInvalidField, "first_pick_date"},
		{"before any calendar", fill("gorse-hill-1", "white-bulk-2", "1926-04-06"), fault.Invalid, fault.ReasonInvalidField, "fill_date"},
		{"backwards before any calendar", firstPick("gorse-hill-1", "white-bulk-2", "1970-01-02"), fault.Invalid, "IMPOSSIBLE_DATE", "first_pick_date"},
		{"words for a date", fill("gorse-hill-1", "white-bulk-2", "next week"), fault.Invalid, "INVALID_REQUEST", "fill_date"},
		{"id of another crop", sameID, fault.Exists, "CROP_EXISTS", "crop_id"},
		{"id too long", fill(long.GetRoomId(), "oyster-bags", "2026-04-06"), fault.Invalid, fault.ReasonInvalidField, "crop_id"},
		{"room taken", fill("elm-end-1", "white-shelves", "2026-05-04"), fault.Precondition, "ROOM_TAKEN", "fill_date"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := r.PlanCrop(r.office(t), &schedulingv1.PlanCropRequest{RequestId: ids.New(), Plan: c.plan})
			refused(t, err, c.kind, c.reason, "plan."+c.field)
			_, err = r.BatchPlanCrops(r.office(t), &schedulingv1.BatchPlanCropsRequest{RequestId: ids.New(), Plans: []*schedulingv1.CropPlan{good, c.plan}})
			refused(t, err, c.kind, c.reason, "plans[1]."+c.field)
		})
	}
	_, err := r.PlanCrop(r.office(t), &schedulingv1.PlanCropRequest{RequestId: ids.New(), Plan: &schedulingv1.CropPlan{RoomId: "elm-end-1", ProgrammeId: "white-shelves"}})
	refused(t, err, fault.Invalid, "INVALID_REQUEST", "plan.from")
	if events := r.events(t); len(events) != 6 {
		t.Errorf("refused plans are told of: %v", subjects(events))
	}
}

// A refused plan names both crops, and the move it proposes does free the room:
// tried at once, it is taken.
func TestTakenRoomNamesTheLeastMove(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	first := r.plan(t, fill("elm-end-1", "white-shelves", "2026-04-06"))
	r.record(t, first.GetCropId(), schedulingv1.StageKind_STAGE_KIND_FILLING, "2026-04-06")
	wanted := shifted(t, first.GetFreeDate(), -10)
	_, err := r.PlanCrop(r.office(t), &schedulingv1.PlanCropRequest{RequestId: ids.New(), Plan: fill("elm-end-1", "white-shelves", wanted)})
	f := refused(t, err, fault.Precondition, "ROOM_TAKEN", "plan.fill_date")
	second := fmt.Sprintf("elm-end-1-%s%s%s", wanted[:4], wanted[5:7], wanted[8:])
	diff(t, "meta", map[string]string{
		"roomId": "elm-end-1", "firstCropId": first.GetCropId(), "secondCropId": second,
		"fromDate": wanted, "untilDate": first.GetFreeDate(), "moveCropId": second, "moveDays": "10",
	}, f.Meta)
	// The room is free from that day on: the next fill on that very day fits.
	r.plan(t, fill("elm-end-1", "white-shelves", first.GetFreeDate()))
}

func TestOnlyOneOfManyGetsTheRoom(t *testing.T) {
	t.Parallel()
	const growers = 8
	r := newRig(t)
	r.settle(t)
	// The programme is in use before: only the room's lock keeps the plans apart.
	r.plan(t, fill("elm-end-1", "white-shelves", "2025-04-07"))
	errs := make([]error, growers)
	var wg sync.WaitGroup
	for i := range growers {
		plan := fill("elm-end-1", "white-shelves", fmt.Sprintf("2026-04-%02d", i+1))
		wg.Go(func() {
			_, errs[i] = r.PlanCrop(r.office(t), &schedulingv1.PlanCropRequest{RequestId: ids.New(), Plan: plan})
		})
	}
	wg.Wait()
	won := 0
	for _, err := range errs {
		if err == nil {
			won++
			continue
		}
		refused(t, err, fault.Precondition, "ROOM_TAKEN", "plan.fill_date")
	}
	if won != 1 {
		t.Errorf("%d plans got the room", won)
	}
	if n := len(r.events(t)); n != 6 {
		t.Errorf("%d events, want 4 of the rooms and farms and 2 crops", n)
	}
}

// Plans of one batch meet each other.
func TestBatchMeetsItself(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	batch := func(plans ...*schedulingv1.CropPlan) (*schedulingv1.BatchPlanCropsResponse, error) {
		return r.BatchPlanCrops(r.office(t), &schedulingv1.BatchPlanCropsRequest{RequestId: ids.New(), Plans: plans})
	}
	_, err := batch(fill("elm-end-1", "white-shelves", "2026-04-06"), fill("gorse-hill-1", "white-bulk-2", "2026-04-06"), fill("elm-end-1", "white-shelves", "2026-05-06"))
	refused(t, err, fault.Precondition, "ROOM_TAKEN", "plans[2].fill_date")
	_, err = batch(fill("elm-end-1", "white-shelves", "2026-04-06"), fill("elm-end-1", "white-shelves", "2026-04-06"))
	refused(t, err, fault.Invalid, fault.ReasonInvalidField, "plans[1].crop_id")
	all := must[*schedulingv1.BatchPlanCropsResponse](t)(batch(fill("gorse-hill-1", "white-bulk-2", "2026-09-07"), fill("elm-end-1", "white-shelves", "2025-09-01"), fill("gorse-hill-1", "white-bulk-2", "2026-04-06")))
	var got []string
	for _, c := range all.GetCrops() {
		got = append(got, c.GetCropId())
	}
	diff(t, "crops in the order asked", []string{"gorse-hill-1-20260907", "elm-end-1-20250901", "gorse-hill-1-20260406"}, got)
}
