package server_test

import (
	"fmt"
	"testing"
	"time"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// The quarter: rooms with their crops, supply that adds up to what the programme
// says a room bears, gaps, and what is overdue.
func TestQuarterShowsWhereItHurts(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	r.trade(t)
	crop := r.plan(t, fill("gorse-hill-1", "white-bulk-2", "2026-02-23")) // a week ago, and not recorded
	ask := func(weeks int32) *schedulingv1.GetQuarterResponse {
		return must[*schedulingv1.GetQuarterResponse](t)(r.GetQuarter(r.office(t), &schedulingv1.GetQuarterRequest{FirstWeek: "2026-02-23", Weeks: weeks}))
	}
	q := ask(20)
	if len(q.GetWeeks()) != 20 || len(q.GetRooms()) != 2 || q.GetRooms()[1].GetRoomId() != "gorse-hill-1" || len(q.GetRooms()[1].GetCrops()) != 1 {
		t.Fatalf("quarter %v", q)
	}
	bears, closedWeeks := map[string]int64{}, 0
	for _, k := range q.GetKinds() {
		name := k.GetKind().GetSpecies() + " " + k.GetKind().GetPickStage().String()
		for i, w := range k.GetWeeks() {
			bears[name] += w.GetCommittedGrams()
			if (w.DemandGrams == nil) != (i == 0) {
				t.Errorf("%s: demand of the week of %s is %v", name, w.GetWeek(), w.DemandGrams)
			}
			if k.GetKind().GetSpecies() == "white mushroom" && k.GetKind().GetPickStage() == closed && w.GetShortGrams() > 0 {
				closedWeeks++
			}
		}
	}
	// The usual yield of the programme times 200 m², split as the programme bears.
	var total int64
	for _, b := range crop.GetBears() {
		name := "white mushroom " + b.GetPickStage().String()
		want := crop.GetBreaks().GetYieldGramsPerM2().GetUsual() * 200 * b.GetPerMille() / 1000
		if off := bears[name] - want; off < -100 || off > 100 {
			t.Errorf("%s: %d g, want %d", name, bears[name], want)
		}
		total += bears[name]
	}
	if want := crop.GetBreaks().GetYieldGramsPerM2().GetUsual() * 200; total != want {
		t.Errorf("the crop bears %d g in all, want %d", total, want)
	}
	if closedWeeks == 0 {
		t.Error("no gap is shown, though nothing is picked for weeks")
	}
	if o := q.GetOverdue(); len(o) != 1 || o[0].GetCropId() != crop.GetCropId() || o[0].GetKind() != filling || o[0].GetDays() != 7 {
		t.Errorf("overdue %v", o)
	}
	mine := must[*schedulingv1.GetQuarterResponse](t)(r.GetQuarter(r.grower(t, "elm-end"), &schedulingv1.GetQuarterRequest{}))
	if len(mine.GetRooms()) != 1 || len(mine.GetKinds()) > 0 || len(mine.GetOverdue()) > 0 || len(mine.GetWeeks()) != 13 {
		t.Errorf("a grower sees %v", mine)
	}
	_, err := r.GetQuarter(r.office(t), &schedulingv1.GetQuarterRequest{FirstWeek: "2026-02-24"})
	refused(t, err, fault.Invalid, fault.ReasonInvalidField, "first_week")
	_, err = r.GetQuarter(r.office(t), &schedulingv1.GetQuarterRequest{FirstWeek: "2029-01-01"})
	refused(t, err, fault.Invalid, fault.ReasonInvalidField, "first_week")
}

// BenchmarkQuarterView measures the quarter of 200 rooms, with twelve products and
// two years of their orders, from the database.
func BenchmarkQuarterView(b *testing.B) {
	r := newRig(b)
	ctx := r.office(b)
	r.settle(b)
	r.trade(b)
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
	for i := range 12 {
		id := fmt.Sprintf("white-%02d", i)
		r.hear(b, product(id, "white mushroom", closed, 1000, 500))
		for week := range 104 {
			r.hear(b, order(fmt.Sprintf("%s-%d", id, week), shifted(b, "2026-03-04", -7*(week+1)), id, int64(80+(week*7+i)%40)))
		}
	}
	for b.Loop() {
		q := must[*schedulingv1.GetQuarterResponse](b)(r.GetQuarter(ctx, &schedulingv1.GetQuarterRequest{}))
		if len(q.GetRooms()) != 202 || len(q.GetKinds()) == 0 {
			b.Fatalf("%d rooms", len(q.GetRooms()))
		}
	}
}
