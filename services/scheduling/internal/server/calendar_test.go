package server_test

import (
	"fmt"
	"testing"
	"time"

	"google.golang.org/protobuf/testing/protocmp"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

func (r *rig) calendar(t testing.TB, from, to, farmID string) *schedulingv1.GetCalendarResponse {
	t.Helper()
	return must[*schedulingv1.GetCalendarResponse](t)(r.GetCalendar(r.office(t), &schedulingv1.GetCalendarRequest{FromDate: from, ToDate: to, FarmId: farmID}))
}

func cropIDs(answer *schedulingv1.GetCalendarResponse) []string {
	var out []string
	for _, c := range answer.GetCrops() {
		out = append(out, c.GetCropId())
	}
	return out
}

func TestCalendarShowsTheSpan(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	gorse := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	elm := r.plan(t, fill("elm-end-1", "white-shelves", "2026-04-13"))
	off := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-07-06"))
	must[*schedulingv1.Crop](t)(r.EndCrop(r.office(t), &schedulingv1.EndCropRequest{RequestId: ids.New(), CropId: off.GetCropId(), Date: "2026-07-01"}))
	free := gorse.GetFreeDate()
	for _, c := range []struct {
		name, from, to, farm string
		want                 []string
	}{
		{"by room and fill date", "2026-04-01", "2026-04-30", "", []string{elm.GetCropId(), gorse.GetCropId()}},
		{"of one farm", "2026-04-01", "2026-04-30", "gorse-hill", []string{gorse.GetCropId()}},
		{"day before filling", "2026-04-01", "2026-04-05", "", nil},
		{"day of filling", "2026-04-01", "2026-04-06", "", []string{gorse.GetCropId()}},
		{"last day", shifted(t, free, -1), shifted(t, free, -1), "gorse-hill", []string{gorse.GetCropId()}},
		{"day the room is free", free, free, "gorse-hill", nil},
		{"called off", "2026-07-06", "2026-09-01", "gorse-hill", nil},
		{"of no farm", "2026-04-01", "2026-04-30", "nowhere", nil},
	} {
		diff(t, c.name, c.want, cropIDs(r.calendar(t, c.from, c.to, c.farm)))
	}
	for name, days := range map[string][2]string{
		"to_date":   {"2026-04-02", "2026-04-01"},
		"from_date": {"2026-02-30", "2026-04-01"},
	} {
		_, err := r.GetCalendar(r.office(t), &schedulingv1.GetCalendarRequest{FromDate: days[0], ToDate: days[1]})
		refused(t, err, fault.Invalid, fault.ReasonInvalidField, name)
	}
	_, err := r.GetCalendar(r.office(t), &schedulingv1.GetCalendarRequest{FromDate: "2024-01-01", ToDate: "2026-03-12"})
	refused(t, err, fault.Invalid, fault.ReasonInvalidField, "to_date")
}

// A slip that makes a crop run into one that has begun cannot be mended by a move:
// it is shown as long as it stands.
func TestCalendarNamesConflicts(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	first := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-04-06"))
	second := r.plan(t, fill("gorse-hill-1", "white-bulk-2", first.GetFreeDate()))
	if answer := r.calendar(t, "2026-04-01", "2026-09-30", ""); len(answer.GetConflicts()) > 0 {
		t.Errorf("conflicts %v of a plan without any", answer.GetConflicts())
	}
	r.record(t, first.GetCropId(), filling, "2026-04-06")
	r.record(t, second.GetCropId(), phaseOne, stage(t, second, phaseOne).GetStartDate())
	late := r.record(t, first.GetCropId(), casing, "2026-04-27")
	want := []*schedulingv1.CropConflict{{
		RoomId: "gorse-hill-1", FirstCropId: first.GetCropId(), SecondCropId: second.GetCropId(),
		FromDate: first.GetFreeDate(), UntilDate: late.GetFreeDate(),
	}}
	diff(t, "conflicts", want, r.calendar(t, "2026-04-01", "2026-09-30", "").GetConflicts(), protocmp.Transform())
	if answer := r.calendar(t, "2026-04-01", "2026-05-31", ""); len(answer.GetConflicts()) > 0 {
		t.Errorf("conflicts %v outside the span", answer.GetConflicts())
	}
}

// BenchmarkQuarter measures the calendar of a quarter with 200 rooms.
func BenchmarkQuarter(b *testing.B) {
	r := newRig(b)
	ctx := r.office(b)
	r.settle(b)
	var rooms []*schedulingv1.Room
	var plans []*schedulingv1.CropPlan
	for i := range 200 {
		id := fmt.Sprintf("house-%03d", i)
		rooms = append(rooms, room(id, "elm-end", typev1.GrowingSystem_GROWING_SYSTEM_BULK_PHASE_TWO))
		for k := range 5 {
			at := time.Date(2025, time.October, 1+i%70+80*k, 0, 0, 0, 0, time.UTC)
			plans = append(plans, fill(id, "white-bulk-2", at.Format(time.DateOnly)))
		}
	}
	must[*schedulingv1.BatchSaveRoomsResponse](b)(r.BatchSaveRooms(ctx, &schedulingv1.BatchSaveRoomsRequest{RequestId: ids.New(), Rooms: rooms}))
	must[*schedulingv1.BatchPlanCropsResponse](b)(r.BatchPlanCrops(ctx, &schedulingv1.BatchPlanCropsRequest{RequestId: ids.New(), Plans: plans}))
	for b.Loop() {
		if n := len(r.calendar(b, "2026-01-01", "2026-03-31", "").GetCrops()); n < 200 {
			b.Fatalf("%d crops", n)
		}
	}
}
