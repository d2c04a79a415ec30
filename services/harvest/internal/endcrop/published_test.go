package endcrop_test

import (
	"math"
	"testing"

	"breakshare.example/services/harvest/internal/endcrop"
)

// Replacement age, as operations research texts teach it: a machine is replaced
// when its average cost per year is least. Cost 6,100, scrap value 100, upkeep
// 100 to 2,000 → averages 6100, 3175, 2250, 1837.5, 1650, 1575 (year 6), 1578.57,
// 1631.25. Cost 12,200, scrap 200, running cost 200 to 4,000 → year 6, 3166.67.
func TestReplacementAgeExamples(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		cost     int64 // less scrap value
		upkeep   []int64
		averages []float64
		year     int
	}{
		{6000, []int64{100, 250, 400, 600, 900, 1200, 1600, 2000}, []float64{6100, 3175, 2250, 1837.5, 1650, 1575, 1578.57, 1631.25}, 6},
		{12_000, []int64{200, 500, 800, 1200, 1800, 2500, 3200, 4000}, []float64{12200, 6350, 4500, 3675, 3300, 3166.67, 3171.43, 3275}, 6},
	} {
		steps := make([]endcrop.Step, len(c.upkeep))
		for i, u := range c.upkeep {
			steps[i] = endcrop.Step{Net: -u, Days: 1}
			_, rate := endcrop.BestAverage(endcrop.Step{}, []endcrop.Step{{Net: -c.cost - sum(c.upkeep[:i+1]), Days: int64(i + 1)}})
			if got := -float64(rate.Net) / float64(rate.Days); math.Abs(got-c.averages[i]) > 0.005 {
				t.Errorf("average after %d years %v, want %v", i+1, got, c.averages[i])
			}
		}
		n, rate := endcrop.BestAverage(endcrop.Step{Net: -c.cost}, steps)
		if n != c.year || math.Abs(-float64(rate.Net)/float64(rate.Days)-c.averages[c.year-1]) > 0.005 {
			t.Errorf("replaced after %d years at %+v, want year %d", n, rate, c.year)
		}
	}
}

func sum(xs []int64) (s int64) {
	for _, x := range xs {
		s += x
	}
	return s
}

// Marginal value theorem (Charnov 1976): with gain 1 − e^(−x) and travel T the
// best stay solves e^x = 1 + T + x: T = 1 → 1.14619 at rate 0.31784, T = 3 →
// 1.7490 at 0.17394, T = 5 → 2.0907 at 0.12360, T = 10 → 2.6109 at 0.07347. The
// stay is cut into steps of 1/2000.
func TestMarginalValueTheorem(t *testing.T) {
	t.Parallel()
	const perUnit, scale = 2000, 1e12
	steps := make([]endcrop.Step, 4*perUnit)
	gain := func(i int) int64 { return int64(math.Round(scale * (1 - math.Exp(-float64(i)/perUnit)))) }
	for i := range steps {
		steps[i] = endcrop.Step{Net: gain(i+1) - gain(i), Days: 1}
	}
	for _, c := range []struct {
		travel     int64
		stay, rate float64
	}{{1, 1.14619, 0.31784}, {3, 1.7490, 0.17394}, {5, 2.0907, 0.12360}, {10, 2.6109, 0.07347}} {
		n, rate := endcrop.BestAverage(endcrop.Step{Days: c.travel * perUnit}, steps)
		if got := float64(n) / perUnit; math.Abs(got-c.stay) > 0.001 {
			t.Errorf("travel %d: stay %v, want %v", c.travel, got, c.stay)
		}
		if got := float64(rate.Net) / scale / float64(rate.Days) * perUnit; math.Abs(got-c.rate) > 1e-5 {
			t.Errorf("travel %d: rate %v, want %v", c.travel, got, c.rate)
		}
		// The theorem itself: at the best stay the next step earns no more than the average.
		if next := (endcrop.Rate{Net: steps[n].Net, Days: 1}); next.Compare(rate) > 0 {
			t.Errorf("travel %d: the step after the best stay still earns above the average", c.travel)
		}
	}
}

// Douglas fir of Clark and Pearse (from memory): value by age 40 to 120 in tens;
// the greatest average per year is 9.13 at age 100.
func TestForestAge(t *testing.T) {
	t.Parallel()
	value := []int64{43, 143, 303, 497, 650, 805, 913, 1000, 1075}
	steps := []endcrop.Step{{Net: value[0], Days: 40}}
	for i := 1; i < len(value); i++ {
		steps = append(steps, endcrop.Step{Net: value[i] - value[i-1], Days: 10})
	}
	n, rate := endcrop.BestAverage(endcrop.Step{}, steps)
	if rate.Days != 100 || n != 7 || rate.Net != 913 {
		t.Errorf("felled after %d years at %d, want 100 years at 913", rate.Days, rate.Net)
	}
}
