package server

import (
	"testing"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

// A crop's forecast learns from crops of its programme that ended before it was
// filled, and the score shows beside the model what the programme alone would
// have said.
func TestForecastLearnsFromEndedCrops(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := r.settle(t)
	ctx := testkit.Context(t, coop)
	get := func() *harvestv1.ForecastCropResponse {
		t.Helper()
		f, err := r.ForecastCrop(ctx, &harvestv1.ForecastCropRequest{CropId: "ab-5-20261020"})
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	next := grown(crop("ab-5-20261020", "ab-5", "alder-brook", "white mushroom", running, [3]string{"2026-10-20", "2026-11-26", "2026-12-30"}, 1), "2026-11-08")
	next.ProgrammeId = "white"
	r.hear(t, coop, "scheduling", room("ab-5", "alder-brook"), planned(next))
	before := get()
	// Two crops that bore half as much again as the programme says.
	for _, id := range []string{"ab-3", "ab-4"} {
		old := grown(crop(id+"-20260801", id, "alder-brook", "white mushroom", running, [3]string{"2026-08-01", "2026-09-08", "2026-10-10"}, 1), "2026-08-21")
		old.ProgrammeId = "white"
		r.hear(t, coop, "scheduling", room(id, "alder-brook"), planned(old))
		for i, grams := range []int64{800_000, 1_500_000, 900_000, 0, 0, 0, 0, 0, 500_000, 1_000_000, 700_000, 0, 0, 0, 0, 0, 400_000, 500_000, 300_000} {
			if grams > 0 {
				n := int32(i/8 + 1)
				if _, err := r.RecordPick(ctx, &harvestv1.RecordPickRequest{RequestId: ids.New(), Pick: &harvestv1.Pick{
					RoomId: id, ProductId: "white-2kg", Date: day.On(2026, 9, 8+i).String(), GrossGrams: grams, BreakNumber: &n,
				}}); err != nil {
					t.Fatal(err)
				}
			}
		}
		old.State, old.Version = schedulingv1.CropState_CROP_STATE_ENDED, 2
		r.hear(t, coop, "scheduling", &schedulingv1.CropEnded{Crop: old})
	}
	after := get()
	total := func(f *harvestv1.ForecastCropResponse) (sum int64) {
		for _, d := range f.GetDays() {
			sum += d.GetMeanGrams()
		}
		return sum
	}
	if before.GetLearntFromCrops() != 0 || after.GetLearntFromCrops() != 2 || total(after) <= total(before)*105/100 {
		t.Errorf("%d g expected from %d ended crops, %d g from %d", total(before), before.GetLearntFromCrops(), total(after), after.GetLearntFromCrops())
	}
	if _, err := r.CloseDay(ctx, &harvestv1.CloseDayRequest{RequestId: ids.New(), Date: "2026-11-26"}); err != nil {
		t.Fatal(err)
	}
	r.pick(t, coop, "ab-5", "white-2kg", "2026-11-26", 50_000)
	scores, err := r.GetScores(ctx, &harvestv1.GetScoresRequest{AsOfDate: "2026-11-26", RoomId: "ab-5"})
	if err != nil {
		t.Fatal(err)
	}
	model, programme := scores.GetAll().GetModel().GetCards()[0], scores.GetAll().GetProgramme().GetCards()[0]
	if model.GetFigures() != 1 || programme.GetFigures() != 1 || model.GetBiasGrams() == programme.GetBiasGrams() {
		t.Errorf("the model off by %v, the programme alone by %v", model, programme)
	}
}
