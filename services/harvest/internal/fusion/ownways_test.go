package fusion_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"breakshare.example/services/harvest/internal/forecast"
	"breakshare.example/services/harvest/internal/score"
)

// On farms with ways of their own (a strain that bears a third more, and a casing
// that brings the first pick two and a half days later) the forecast gets better
// with every crop that ends.
func TestOwnWaysAreLearned(t *testing.T) {
	t.Parallel()
	white := forecast.Defaults()[slices.IndexFunc(forecast.Defaults(), func(p forecast.Profile) bool { return p.Name == forecast.WhiteShelf })]
	var crps []float64
	ended := []int{0, 2, 12}
	parts := make([]lookahead, len(ended))
	for seed := range uint64(8) {
		f := newFarm(rand.New(rand.NewPCG(9001+seed, 77)))
		var done []forecast.Finished
		for i := range 12 {
			done = append(done, f.growAs(5*i, 1.33, 2.5).finished()...)
		}
		next := f.growAs(72, 1.33, 2.5)
		for i, n := range ended {
			parts[i].ahead(t, modelOf(t, white.Learn(done[:n])), next, seed)
		}
	}
	for i, n := range ended {
		c := score.Of(parts[i], seasonDays, seasonDays, 0)
		t.Logf("after %2d ended crops: MAE %6.0f g, CRPS %6.0f g, within 80 %% band %.3f", n, c.MAE, c.CRPS, c.Coverage)
		crps = append(crps, c.CRPS)
	}
	if crps[1] >= crps[0] || crps[2] >= crps[1] || crps[2] > 0.9*crps[0] {
		t.Errorf("CRPS after %v ended crops: %.0f; want it to fall, in the end by a tenth", ended, crps)
	}
}
