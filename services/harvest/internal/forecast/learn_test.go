package forecast_test

import (
	"math"
	"testing"

	"breakshare.example/services/harvest/internal/forecast"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// finishedCrops are alike: 25 kg/m², first pick 20 d after casing, shares
// 60 : 25 : 15.
func finishedCrops(n int) []forecast.Finished {
	out := make([]forecast.Finished, n)
	for i := range out {
		out[i] = forecast.Finished{
			AreaTenthM2: 1000, From: forecast.Cased, LagDays: 20,
			BreakGrams: []int64{1_500_000, 625_000, 375_000},
		}
	}
	return out
}

func TestLearnMovesTowardsTheCoopsOwnCrops(t *testing.T) {
	t.Parallel()
	p := profileOf(t, forecast.WhiteShelf)
	// Conjugate mean by hand: (6×18 + 6×20)/(6 + 6) = 19.
	got := p.Learn(finishedCrops(6))
	if d := lag(t, got, forecast.Cased); math.Abs(d.Likely-19) > 1e-9 || d.Basis != forecast.Learned {
		t.Errorf("first pick after casing %+v, want 19 d, learned", d)
	}
	if d := lag(t, got, forecast.Aired); d != lag(t, p, forecast.Aired) {
		t.Errorf("a lag nobody told of changed to %+v", d)
	}
	many := p.Learn(finishedCrops(300))
	for name, c := range map[string]struct{ got, want, within float64 }{
		"interval": {many.Interval.Likely, p.Interval.Likely, 0}, "yield": {many.Yield.Likely, 25_000, 90}, "first share": {many.Shares[0].Likely, 60, 0.3},
	} {
		if math.Abs(c.got-c.want) > c.within {
			t.Errorf("%s after 300 crops %v, want %v", name, c.got, c.want)
		}
	}
	if d, was := lag(t, many, forecast.Cased), lag(t, p, forecast.Cased); d.High-d.Low >= was.High-was.Low {
		t.Error("300 crops alike must narrow the time to the first pick")
	}
	if err := many.Check(); err != nil {
		t.Errorf("learned profile: %v", err)
	}
	if lag(t, p, forecast.Cased).Likely != 18 {
		t.Error("learning changed the profile it started from")
	}
}

func TestCropEndedEarlyDoesNotTeachYield(t *testing.T) {
	t.Parallel()
	p := profileOf(t, forecast.WhiteShelf)
	crops := finishedCrops(5)
	for i := range crops {
		crops[i].BreakGrams = crops[i].BreakGrams[:1]
	}
	got := p.Learn(crops)
	if diff := cmp.Diff(p.Yield, got.Yield); diff != "" {
		t.Errorf("yield learned from crops that were ended after the first break:\n%s", diff)
	}
}

// Largest remainder: 7 over 50 : 30 : 20 is 4, 2, 1; 25 over the states of a
// textbook example 24 : 56 : 28 : 17 : 65 : 47 is 2, 6, 3, 2, 7, 5.
func TestSplitByLargestRemainder(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		grams  int64
		shares []int64
		want   []int64
	}{
		{7, []int64{50, 30, 20}, []int64{4, 2, 1}},
		{25, []int64{24, 56, 28, 17, 65, 47}, []int64{2, 6, 3, 2, 7, 5}},
		{1, []int64{500, 500}, []int64{1, 0}},
		{0, []int64{500, 500}, []int64{0, 0}},
		{9, []int64{0, 0}, []int64{0, 0}},
	} {
		stages := make([]forecast.PickStage, len(c.shares))
		for i, s := range c.shares {
			stages[i] = forecast.PickStage{Name: string(rune('a' + i)), PerMille: s}
		}
		var got []int64
		for _, s := range forecast.Split(c.grams, stages) {
			got = append(got, s.Grams)
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("Split(%d, %v):\n%s", c.grams, c.shares, diff)
		}
	}
}

func TestSplitLosesNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		grams := rapid.Int64Range(0, 1_000_000_000_000).Draw(t, "grams")
		picked := []forecast.StageGrams{{Name: "closed", Grams: rapid.Int64Range(0, 1e9).Draw(t, "closed")}, {Name: "flat", Grams: rapid.Int64Range(0, 1e9).Draw(t, "flat")}}
		stages := forecast.LearnSplit([]forecast.PickStage{{Name: "closed", PerMille: 700}, {Name: "cup", PerMille: 200}, {Name: "flat", PerMille: 100}}, picked)
		var perMille, sum int64
		for i, s := range forecast.Split(grams, stages) {
			sum += s.Grams
			perMille += stages[i].PerMille
		}
		if sum != grams || perMille != 1000 {
			t.Fatalf("parts add up to %d of %d g, shares to %d ‰", sum, grams, perMille)
		}
	})
}

func TestLearnSplitFollowsWhatWasPicked(t *testing.T) {
	t.Parallel()
	stages := []forecast.PickStage{{Name: "closed", PerMille: 700}, {Name: "flat", PerMille: 300}}
	// 500 kg of prior at 70 : 30 and 500 kg picked at 0 : 100 → 35 : 65.
	got := forecast.LearnSplit(stages, []forecast.StageGrams{{Name: "flat", Grams: 500_000}, {Name: "other", Grams: 1_000_000}})
	want := []forecast.PickStage{{Name: "closed", PerMille: 350}, {Name: "flat", PerMille: 650}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("LearnSplit:\n%s", diff)
	}
}
