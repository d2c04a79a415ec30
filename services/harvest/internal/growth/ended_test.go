package growth

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/forecast"
)

func TestWhatAnEndedCropTeaches(t *testing.T) {
	t.Parallel()
	pick := func(on day.Date, n int, grams int64) BreakPick { return BreakPick{on, n, grams} }
	steps := []StepDate{
		{Step: Filling, Start: 100, Real: true}, {Step: Casing, Start: 115, Real: true},
		{Step: Pinning, Start: 124}, // nobody saw it
		{Step: Cropping, Start: 133, Real: true},
	}
	tests := map[string]struct {
		steps []StepDate
		picks []BreakPick
		want  []forecast.Finished
	}{
		"two breaks, in any order, two weighings on a day": {steps, []BreakPick{pick(141, 2, 40), pick(133, 1, 60), pick(134, 1, 50), pick(134, 1, 30), pick(142, 2, 20)}, []forecast.Finished{
			{AreaTenthM2: 2000, From: forecast.Filled, LagDays: 33, BreakGrams: []int64{140, 60}}, {From: forecast.Cased, LagDays: 18},
		}},
		"a day that nobody wrote down": {steps[1:], []BreakPick{pick(133, 1, 60), pick(135, 0, 40)}, []forecast.Finished{
			{AreaTenthM2: 2000, From: forecast.Cased, LagDays: 18, BreakGrams: []int64{150}},
		}},
		"a longer pause is none": {steps[1:], []BreakPick{pick(133, 1, 60), pick(136, 0, 40)}, []forecast.Finished{
			{AreaTenthM2: 2000, From: forecast.Cased, LagDays: 18, BreakGrams: []int64{100}},
		}},
		"a break that was never picked ends it": {steps[1:], []BreakPick{pick(133, 1, 60), pick(150, 3, 40)}, []forecast.Finished{
			{AreaTenthM2: 2000, From: forecast.Cased, LagDays: 18, BreakGrams: []int64{60}},
		}},
		"no stage known": {nil, []BreakPick{pick(133, 1, 60)}, []forecast.Finished{{AreaTenthM2: 2000, LagDays: -1, BreakGrams: []int64{60}}}},
		"withdrawn":      {steps, []BreakPick{pick(133, 1, 0)}, nil},
		"never picked":   {steps, nil, nil},
	}
	for name, tt := range tests {
		got := Ended{ID: "a", AreaM2: 200, Fill: 100, Free: 150, Steps: tt.steps, Picks: tt.picks}.Finished()
		if diff := cmp.Diff(tt.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
}

// A crop learns from those that had ended when it was filled, from no others and
// not from itself.
func TestCropsLearnFromThoseBefore(t *testing.T) {
	t.Parallel()
	ended := func(id string, free day.Date) Ended {
		return Ended{
			ID: id, AreaM2: 100, Fill: free - 60, Free: free, Steps: []StepDate{{Step: Casing, Start: free - 45, Real: true}},
			Picks: []BreakPick{{free - 20, 1, 2_000_000}, {free - 12, 2, 1_200_000}, {free - 4, 3, 600_000}},
		}
	}
	profile := &Profile{
		After: Casing, FirstPick: Range{Least: 15, Usual: 18, Most: 21}, Interval: Range{Least: 7, Usual: 8, Most: 10},
		Width: Range{Least: 3, Usual: 4, Most: 5}, Shares: []int64{500, 330, 170}, Yield: Range{Least: 16000, Usual: 22000, Most: 30000},
	}
	crop := Crop{ID: "c", AreaM2: 100, Fill: 200, Free: 260, Profile: profile}
	plain, err := crop.ForecastProfile()
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		before []Ended
		count  int
	}{
		{[]Ended{ended("a", 200), ended("b", 190)}, 2},
		{[]Ended{ended("late", 201), ended("c", 150)}, 0},
		{nil, 0},
	} {
		crop.Before = tt.before
		got, err := crop.ForecastProfile()
		if err != nil {
			t.Fatal(err)
		}
		if n := crop.LearntFrom(); n != tt.count {
			t.Errorf("learnt from %d crops, want %d", n, tt.count)
		}
		// They bore 38 kg/m², 25 days after casing.
		if learned := got.Yield.Likely > plain.Yield.Likely && got.FirstPick[0].Days.Likely > 18; learned != (tt.count > 0) {
			t.Errorf("after %d crops: %+v", tt.count, got)
		}
	}
}
