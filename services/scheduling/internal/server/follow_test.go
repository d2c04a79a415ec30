package server_test

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/testing/protocmp"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

const phaseOne = schedulingv1.StageKind_STAGE_KIND_PHASE_ONE

// count tells how often each event about each thing stands in the outbox.
func count(events []told) map[string]int {
	out := map[string]int{}
	for _, e := range events {
		out[e.Subject+" "+e.Of]++
	}
	return out
}

// When reality slips by four days, the crop and all that were planned after it in
// the room slip by four days, and each is told of once, with its new dates.
func TestSlipOfFourDaysRunsOn(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	first := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	second := r.plan(t, fill("gorse-hill-1", "white-bulk-2", first.GetFreeDate()))
	third := r.plan(t, fill("gorse-hill-1", "white-bulk-2", second.GetFreeDate()))
	apart := r.plan(t, fill("gorse-hill-1", "white-bulk-2", shifted(t, third.GetFreeDate(), 4)))
	r.record(t, first.GetCropId(), filling, "2026-04-06")
	before := len(r.events(t))
	record := &schedulingv1.RecordStageRequest{
		RequestId: ids.New(), CropId: first.GetCropId(), Kind: casing, Date: shifted(t, stage(t, first, casing).GetStartDate(), 4),
	}
	late := must[*schedulingv1.Crop](t)(r.RecordStage(r.office(t), record))
	must[*schedulingv1.Crop](t)(r.RecordStage(r.office(t), record)) // the same request again

	events := r.events(t)[before:]
	diff(t, "told", map[string]int{
		"crop.stage_reached " + first.GetCropId(): 1, "crop.moved " + second.GetCropId(): 1, "crop.moved " + third.GetCropId(): 1,
	}, count(events))
	if got := late.GetFirstPickDate(); got != shifted(t, first.GetFirstPickDate(), 4) {
		t.Errorf("first pick %s, planned for %s", got, first.GetFirstPickDate())
	}
	for _, e := range events {
		moved, ok := e.Payload.(*schedulingv1.CropMoved)
		if !ok {
			continue
		}
		was := second
		if e.Of == third.GetCropId() {
			was = third
		}
		for i, s := range moved.GetCrop().GetStages() {
			if want := shifted(t, was.GetStages()[i].GetStartDate(), 4); s.GetStartDate() != want {
				t.Errorf("%s: %s begins on %s, want %s", e.Of, s.GetKind(), s.GetStartDate(), want)
			}
		}
		if moved.GetCrop().GetNotBeforeDate() != shifted(t, was.GetFillDate(), 4) || moved.GetCrop().GetFreeDate() != shifted(t, was.GetFreeDate(), 4) {
			t.Errorf("moved to %v", moved.GetCrop())
		}
	}
	answer := r.calendar(t, "2026-04-01", "2027-03-31", "gorse-hill")
	if len(answer.GetConflicts()) > 0 || answer.GetCrops()[3].GetFillDate() != apart.GetFillDate() {
		t.Errorf("after the slip: %v", answer)
	}
	// The plan as it was made is still the plan: asked for again, it is there.
	again := r.plan(t, fill("gorse-hill-1", "white-bulk-2", second.GetFillDate()))
	if again.GetVersion() != 2 || again.GetCropId() != second.GetCropId() {
		t.Errorf("planned again as %v", again)
	}
}

// What is overdue begins today at the earliest; asked twice, nothing moves twice.
func TestOverdueStepsWaitForToday(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	running := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	next := r.plan(t, fill("gorse-hill-1", "white-bulk-2", running.GetFreeDate()))
	unfilled := r.plan(t, fill("elm-end-1", "white-shelves", "2026-04-27"))
	r.record(t, running.GetCropId(), filling, "2026-04-06")
	r.record(t, running.GetCropId(), schedulingv1.StageKind_STAGE_KIND_SPAWN_RUN, "2026-04-06")
	due := stage(t, running, casing).GetStartDate()
	today, err := time.Parse(time.DateOnly, shifted(t, due, 9))
	if err != nil {
		t.Fatal(err)
	}
	r.clock.Set(today.Add(9 * time.Hour))
	before := len(r.events(t))
	shift := func() []string {
		var out []string
		for _, c := range must[*schedulingv1.ShiftOverdueResponse](t)(r.ShiftOverdue(r.office(t), &schedulingv1.ShiftOverdueRequest{RequestId: ids.New()})).GetCrops() {
			out = append(out, c.GetCropId()+" "+c.GetFillDate()+" "+stage(t, c, casing).GetStartDate())
		}
		return out
	}
	day := today.Format(time.DateOnly)
	slip := int(today.Sub(parse(t, unfilled.GetFillDate())).Hours() / 24)
	want := []string{
		unfilled.GetCropId() + " " + day + " " + shifted(t, stage(t, unfilled, casing).GetStartDate(), slip),
		running.GetCropId() + " 2026-04-06 " + day,
		next.GetCropId() + " " + shifted(t, next.GetFillDate(), 9) + " " + shifted(t, stage(t, next, casing).GetStartDate(), 9),
	}
	diff(t, "moved", want, shift())
	diff(t, "moved again", nil, shift())
	diff(t, "told", map[string]int{
		"crop.moved " + unfilled.GetCropId(): 1, "crop.moved " + running.GetCropId(): 1, "crop.moved " + next.GetCropId(): 1,
	}, count(r.events(t)[before:]))
}

func parse(t testing.TB, date string) time.Time {
	t.Helper()
	at, err := time.Parse(time.DateOnly, date)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

func TestMoveCrop(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	crop := r.plan(t, fill("elm-end-1", "white-shelves", "2026-04-06"))
	blocked := r.plan(t, fill("elm-end-1", "white-shelves", crop.GetFreeDate()))
	move := func(id, date, tag string) (*schedulingv1.Crop, error) {
		return r.MoveCrop(r.office(t), &schedulingv1.MoveCropRequest{RequestId: ids.New(), CropId: id, FillDate: date, Etag: tag})
	}
	// There and back changes nothing but the version.
	there := must[*schedulingv1.Crop](t)(move(crop.GetCropId(), "2026-04-02", crop.GetEtag()))
	back := must[*schedulingv1.Crop](t)(move(crop.GetCropId(), "2026-04-06", there.GetEtag()))
	diff(t, "there and back", crop, back, protocmp.Transform(), protocmp.IgnoreFields(&schedulingv1.Crop{}, "version", "etag"))
	diff(t, "told", 2, count(r.events(t))["crop.moved "+crop.GetCropId()])

	_, err := move(crop.GetCropId(), "2026-04-07", there.GetEtag())
	refused(t, err, fault.Stale, "STALE_ETAG", "etag")
	_, err = move(crop.GetCropId(), "2026-04-16", "")
	if f := refused(t, err, fault.Precondition, "ROOM_TAKEN", "fill_date"); f.Meta["secondCropId"] != blocked.GetCropId() {
		t.Errorf("taken by %v", f.Meta)
	}
	_, err = move(crop.GetCropId(), "2026-02-30", "")
	refused(t, err, fault.Invalid, fault.ReasonInvalidField, "fill_date")
	_, err = move("nobody", "2026-04-16", "")
	refused(t, err, fault.NotFound, "UNKNOWN_CROP", "crop_id")
	r.record(t, crop.GetCropId(), filling, "2026-04-06")
	_, err = move(crop.GetCropId(), "2026-04-01", "")
	refused(t, err, fault.Precondition, "CROP_HAS_BEGUN", "fill_date")
	_, err = r.MoveCrop(r.grower(t, "gorse-hill"), &schedulingv1.MoveCropRequest{RequestId: ids.New(), CropId: blocked.GetCropId(), FillDate: "2026-12-01"})
	refused(t, err, fault.Forbidden, "OTHER_FARM", "")
}

func (r *rig) facility(t testing.TB, id, farmID string, place schedulingv1.Place) *schedulingv1.Facility {
	t.Helper()
	return must[*schedulingv1.Facility](t)(r.SaveFacility(r.office(t), &schedulingv1.SaveFacilityRequest{
		RequestId: ids.New(), Facility: &schedulingv1.Facility{FacilityId: id, FarmId: farmID, Name: "Tunnel", Place: place},
	}))
}

// A bulk crop takes a tunnel of its farm first: two rooms of one farm cannot be
// filled at once from one tunnel, unless they share its load.
func TestTunnelsAreHeldOnce(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	must[*schedulingv1.Room](t)(r.SaveRoom(r.office(t), &schedulingv1.SaveRoomRequest{
		RequestId: ids.New(), Room: room("gorse-hill-2", "gorse-hill", typev1.GrowingSystem_GROWING_SYSTEM_BULK_PHASE_TWO),
	}))
	tunnel := schedulingv1.Place_PLACE_TUNNEL
	r.facility(t, "gorse-hill-tunnel-1", "gorse-hill", tunnel)
	shared := r.facility(t, "yard-tunnel", "", tunnel)
	first := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	diff(t, "its tunnel", []*schedulingv1.CropFacility{{Place: tunnel, FacilityId: "gorse-hill-tunnel-1"}}, first.GetFacilities(), protocmp.Transform())

	plan := func(p *schedulingv1.CropPlan) (*schedulingv1.Crop, error) {
		return r.PlanCrop(r.office(t), &schedulingv1.PlanCropRequest{RequestId: ids.New(), Plan: p})
	}
	_, err := plan(fill("gorse-hill-2", "white-bulk-2", "2026-04-08"))
	if f := refused(t, err, fault.Precondition, "ROOM_TAKEN", "plan.fill_date"); f.Meta["roomId"] != "gorse-hill-tunnel-1" || !strings.Contains(f.Message, first.GetCropId()) {
		t.Errorf("refused with %v", f)
	}
	// A second tunnel is found by itself, a shared one when it is named.
	r.facility(t, "gorse-hill-tunnel-2", "gorse-hill", tunnel)
	second := must[*schedulingv1.Crop](t)(plan(fill("gorse-hill-2", "white-bulk-2", "2026-04-08")))
	if got := second.GetFacilities()[0].GetFacilityId(); got != "gorse-hill-tunnel-2" {
		t.Errorf("the second crop takes %s", got)
	}
	named := fill("gorse-hill-2", "white-bulk-2", second.GetFreeDate())
	named.Facilities = []*schedulingv1.CropFacility{{Place: tunnel, FacilityId: shared.GetFacilityId(), Load: "a"}}
	must[*schedulingv1.Crop](t)(plan(named))
	together := fill("gorse-hill-1", "white-bulk-2", second.GetFreeDate())
	together.Facilities = []*schedulingv1.CropFacility{{Place: tunnel, FacilityId: shared.GetFacilityId(), Load: "b"}}
	_, err = plan(together)
	refused(t, err, fault.Precondition, "ROOM_TAKEN", "plan.fill_date")
	together.Facilities[0].Load = "a"
	must[*schedulingv1.Crop](t)(plan(together))
	if answer := r.calendar(t, "2026-01-01", "2026-12-31", ""); len(answer.GetConflicts()) > 0 {
		t.Errorf("conflicts %v", answer.GetConflicts())
	}

	for field, f := range map[string]*schedulingv1.CropFacility{
		"plan.facilities[0].facility_id": {Place: tunnel, FacilityId: "nowhere"},
		"plan.facilities[0].place":       {Place: schedulingv1.Place_PLACE_SPAWN_RUN_ROOM, FacilityId: "yard-tunnel"},
	} {
		p := fill("gorse-hill-1", "white-bulk-2", "2027-04-06")
		p.Facilities = []*schedulingv1.CropFacility{f}
		_, err := plan(p)
		if got := fault.FromStatus(err); got == nil || len(got.Fields) != 1 || got.Fields[0].Path != field {
			t.Errorf("%s: %v", field, err)
		}
	}
}

// A tunnel that one crop leaves late makes the next one wait, in whatever room.
func TestSlipRunsOnThroughTunnels(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	must[*schedulingv1.Room](t)(r.SaveRoom(r.office(t), &schedulingv1.SaveRoomRequest{
		RequestId: ids.New(), Room: room("gorse-hill-2", "gorse-hill", typev1.GrowingSystem_GROWING_SYSTEM_BULK_PHASE_TWO),
	}))
	r.facility(t, "gorse-hill-tunnel-1", "gorse-hill", schedulingv1.Place_PLACE_TUNNEL)
	first := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	days := day(t, first.GetFillDate()) - day(t, stage(t, first, schedulingv1.StageKind_STAGE_KIND_PHASE_TWO).GetStartDate())
	second := r.plan(t, fill("gorse-hill-2", "white-bulk-2", shifted(t, "2026-04-06", days)))
	r.record(t, first.GetCropId(), filling, "2026-04-10")
	for _, c := range r.calendar(t, "2026-04-01", "2026-06-30", "").GetCrops() {
		if c.GetCropId() == second.GetCropId() && c.GetFillDate() != shifted(t, second.GetFillDate(), 4) {
			t.Errorf("the crop after it in the tunnel is filled on %s, planned for %s", c.GetFillDate(), second.GetFillDate())
		}
	}
	diff(t, "told", 1, count(r.events(t))["crop.moved "+second.GetCropId()])
}

// No fill on a Sunday, nor on a holiday: a plan is refused with the days that
// would do, and crops planned before move to days that do.
func TestWorkingDays(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	// 2026-04-05 is a Sunday (ISO 8601 calendar), and Easter Sunday of that year.
	sunday := r.plan(t, fill("elm-end-1", "white-shelves", "2026-04-05"))
	week := &schedulingv1.WorkingDays{
		Rules: []*schedulingv1.WorkRule{
			{Kind: filling, ClosedOn: []schedulingv1.DayOfWeek{schedulingv1.DayOfWeek_DAY_OF_WEEK_SUNDAY}, ClosedOnHolidays: true},
			{Kind: casing, ClosedOn: []schedulingv1.DayOfWeek{schedulingv1.DayOfWeek_DAY_OF_WEEK_SATURDAY, schedulingv1.DayOfWeek_DAY_OF_WEEK_SUNDAY}},
		},
		MarkedDays: []*schedulingv1.MarkedDay{
			{Date: "2026-04-06", Name: "Easter Monday", Closed: true}, {Date: "2026-03-15", Name: "Mothers' Day"},
		},
	}
	save := func(w *schedulingv1.WorkingDays) (*schedulingv1.WorkingDays, error) {
		return r.SaveWorkingDays(r.office(t), &schedulingv1.SaveWorkingDaysRequest{RequestId: ids.New(), WorkingDays: w})
	}
	saved := must[*schedulingv1.WorkingDays](t)(save(week))
	read := must[*schedulingv1.WorkingDays](t)(r.GetWorkingDays(r.office(t), &schedulingv1.GetWorkingDaysRequest{}))
	diff(t, "read", saved, read, protocmp.Transform())
	must[*schedulingv1.WorkingDays](t)(save(week)) // equal: nothing new

	for _, c := range r.calendar(t, "2026-04-01", "2026-04-30", "").GetCrops() {
		if at := parse(t, stage(t, c, casing).GetStartDate()).Weekday(); at == time.Saturday || at == time.Sunday {
			t.Errorf("cased on a %s", at)
		}
	}
	if count(r.events(t))["crop.moved "+sunday.GetCropId()] > 1 {
		t.Error("moved more than once")
	}
	for date, meta := range map[string][2]string{"2026-04-12": {"2026-04-11", "2026-04-13"}, "2026-04-06": {"2026-04-04", "2026-04-07"}} {
		_, err := r.PlanCrop(r.office(t), &schedulingv1.PlanCropRequest{RequestId: ids.New(), Plan: fill("gorse-hill-1", "white-bulk-2", date)})
		f := refused(t, err, fault.Invalid, "CLOSED_DAY", "plan.fill_date")
		if f.Meta["before"] != meta[0] || f.Meta["after"] != meta[1] {
			t.Errorf("on %s: days that would do %v, want %v", date, f.Meta, meta)
		}
	}
	for name, spoil := range map[string]func(*schedulingv1.WorkingDays){
		"working_days.rules":               func(w *schedulingv1.WorkingDays) { w.Rules[0].Kind = schedulingv1.StageKind_STAGE_KIND_SPAWN_RUN },
		"working_days.marked_days[1].date": func(w *schedulingv1.WorkingDays) { w.MarkedDays[1].Date = "2026-02-30" },
	} {
		bad := must[*schedulingv1.WorkingDays](t)(r.GetWorkingDays(r.office(t), &schedulingv1.GetWorkingDaysRequest{}))
		spoil(bad)
		_, err := save(bad)
		if f := fault.FromStatus(err); f == nil || f.Kind != fault.Invalid || f.Fields[0].Path != name {
			t.Errorf("%s: %v", name, err)
		}
	}
}
