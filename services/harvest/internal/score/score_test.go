package score_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"breakshare.example/services/harvest/internal/score"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// The three forms of the CRPS must tell the same of the same distribution.
func TestCRPSFormsAgree(t *testing.T) {
	t.Parallel()
	const n = 999
	var members, probabilities []float64
	for i := 1; i <= n; i++ {
		p := float64(i) / (n + 1)
		probabilities = append(probabilities, p)
		members = append(members, 10+3*math.Sqrt2*math.Erfinv(2*p-1))
	}
	for _, y := range []float64{4, 9, 10, 14} {
		want := score.CRPSNormal(10, 3, y)
		near(t, "ensemble form", score.CRPSEnsemble(members, y), want, 0.01)
		near(t, "quantile form", score.CRPSQuantiles(probabilities, members, y), want, 0.01)
	}
	if !math.IsNaN(score.CRPSQuantiles(nil, nil, 1)) || !math.IsNaN(score.CRPSEnsemble(nil, 1)) {
		t.Error("the score of nothing must not be a number")
	}
}

// Nobody betters a proper score by saying another quantile than he believes.
func TestPinballIsLeastAtTheQuantile(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		ys := rapid.SliceOfN(rapid.Float64Range(0, 1000), 5, 40).Draw(t, "actual")
		p := rapid.Float64Range(0.05, 0.95).Draw(t, "p")
		loss := func(q float64) (sum float64) {
			for _, y := range ys {
				sum += score.Pinball(q, y, p)
			}
			return sum
		}
		sorted := slices.Sorted(slices.Values(ys))
		at := sorted[int(math.Ceil(p*float64(len(ys))))-1]
		other := rapid.Float64Range(0, 1000).Draw(t, "other")
		if loss(other) < loss(at)-1e-6 {
			t.Fatalf("%v loses %v, the quantile %v loses %v", other, loss(other), at, loss(at))
		}
	})
}

func TestCardOverWindows(t *testing.T) {
	t.Parallel()
	var records []score.Record
	for day := 1; day <= 100; day++ {
		actual := int64(1000 + 10*(day%8))
		r := score.Record{Day: day, Low: 900, Likely: actual + 20, High: 1060, Actual: actual}
		if day%8 == 7 {
			r.Actual += 100 // outside the band one day in eight
		}
		records = append(records, r)
	}
	cards := score.Cards(records, 100, 8)
	if len(cards) != 3 || cards[0].N != 7 || cards[1].N != 28 || cards[2].N != 84 {
		t.Fatalf("cards %+v, want windows of 7, 28 and 84 days", cards)
	}
	four := cards[1]
	// Of days 73 to 100, 79, 87 and 95 are off by −80 g, 25 by +20 g.
	near(t, "bias", four.Bias, (25*20-3*80)/28.0, 1e-9)
	near(t, "MAE", four.MAE, (25*20+3*80)/28.0, 1e-9)
	near(t, "coverage", four.Coverage, 25/28.0, 1e-9)
	if !math.IsNaN(four.MASE) {
		t.Errorf("MASE %v against a naive figure without error, want none", four.MASE)
	}
	shifted := score.Cards(records, 100, 7)[2]
	if !(shifted.MASE > 0) {
		t.Errorf("MASE %v, want a positive one", shifted.MASE)
	}
	reversed := slices.Clone(records)
	slices.Reverse(reversed)
	near(t, "MAE in another order", score.Cards(reversed, 100, 8)[1].MAE, four.MAE, 1e-9)
}

func TestCardOfNothing(t *testing.T) {
	t.Parallel()
	c := score.Of([]score.Record{{Day: 1, Actual: 5}}, 100, 7, 10)
	if c.N != 0 || !math.IsNaN(c.Coverage) || !math.IsNaN(c.MASE) || c.MAE != 0 {
		t.Errorf("card of no days %+v", c)
	}
	idle := score.Of([]score.Record{{Day: 1}, {Day: 2}}, 2, 7, 10)
	if idle.N != 2 || idle.Busy != 0 || !math.IsNaN(idle.Coverage) {
		t.Errorf("days on which nothing was expected and nothing came test no band: %+v", idle)
	}
}

func TestReliability(t *testing.T) {
	t.Parallel()
	records := []score.Record{
		{Low: 10, Likely: 20, High: 30, Actual: 5}, {Low: 10, Likely: 20, High: 30, Actual: 20},
		{Low: 10, Likely: 20, High: 30, Actual: 25}, {Low: 10, Likely: 20, High: 30, Actual: 40}, {},
	}
	want := []score.Level{{0.1, 4, 0.25}, {0.5, 4, 0.5}, {0.9, 4, 0.75}}
	if diff := cmp.Diff(want, score.Reliability(records)); diff != "" {
		t.Errorf("reliability:\n%s", diff)
	}
	if got := score.Reliability(nil); len(got) != 0 {
		t.Errorf("reliability of nothing: %+v", got)
	}
}

func TestScoresRefuse(t *testing.T) {
	t.Parallel()
	var length *score.LengthError
	if _, err := score.Points([]float64{1}, nil); !errors.As(err, &length) {
		t.Errorf("Points: %v", err)
	}
	if _, err := score.MASE(nil, nil, []float64{1, 2}, 1); !errors.As(err, &length) {
		t.Errorf("MASE: %v", err)
	}
	var scale *score.ScaleError
	for _, train := range [][]float64{nil, {1}, {2, 2, 2}} {
		if _, err := score.MASE([]float64{1}, []float64{1}, train, 1); !errors.As(err, &scale) {
			t.Errorf("MASE with train %v: %v", train, err)
		}
	}
	if _, err := score.SeasonalNaive([]float64{1, 2}, 3, 1); !errors.As(err, &scale) {
		t.Errorf("SeasonalNaive: %v", err)
	}
}

// BenchmarkSeason scores 200 rooms over 26 weeks, for three figures each.
func BenchmarkSeason(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 2))
	rooms := make([][]score.Record, 600)
	for i := range rooms {
		for day := range 182 {
			a := rng.Int64N(1_000_000)
			rooms[i] = append(rooms[i], score.Record{Day: day, Low: a / 2, Likely: a, High: 2 * a, Actual: rng.Int64N(1_000_000)})
		}
	}
	for b.Loop() {
		for _, records := range rooms {
			score.Cards(records, 181, 8)
			score.Reliability(records)
		}
	}
}
