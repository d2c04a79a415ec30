package promise_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/promise"
)

// Worked examples of the newsvendor with a normal variable: what one too few and one too many cost,
// mean and deviation, and the best quantity, also as what is promised of a pick with the same
// spread.
//
//   - Porteus, Foundations of Stochastic Inventory Theory, Stanford University Press 2002: price 4,
//     cost 1, normal demand of mean 100 and deviation 30, critical ratio 0.75, best 120.23;
//   - Gallego, Newsvendor Problem, lecture notes of IEOR 4000 Production Management, 1995: the same
//     prices, mean 100 and deviation 20, best 113.49;
//     both as printed in the reference manual of the R package SCperf 1.1.1, function Newsboy;
//   - price 7, cost 5, mean 50 and deviation 20: critical ratio 0.29, best 39 units (manual of the
//     Julia package NewsvendorModel, "Quick start", from Wikipedia, Newsvendor model).
func TestPublishedNewsvendor(t *testing.T) {
	t.Parallel()
	const tenth = 1.2815515655446004 // deviations above the mean, one time in ten
	for _, c := range []struct {
		name             string
		under, over      int64
		mean, deviation  float64
		ratio, best, off float64
	}{
		{"Porteus", 3, 1, 100, 30, 0.75, 120.23, 0.005},
		{"Gallego", 3, 1, 100, 20, 0.75, 113.49, 0.005},
		{"NewsvendorModel", 2, 5, 50, 20, 0.29, 39, 0.5},
	} {
		level, err := promise.Level(promise.Costs{Broken: c.over, Unsold: c.under})
		if err != nil || math.Abs(level-c.ratio) > 0.005 {
			t.Errorf("%s: critical ratio %.3f (%v), want %v", c.name, level, err, c.ratio)
		}
		if got := c.mean + c.deviation*promise.Normal(level); math.Abs(got-c.best) > c.off {
			t.Errorf("%s: %.3f, want %v", c.name, got, c.best)
		}
		grams := func(deviations float64) int64 { return int64(math.Round(1000 * (c.mean + deviations*c.deviation))) }
		pick := []promise.Lot{{ID: "a", Farm: "alder", Low: grams(-tenth), Likely: grams(0), High: grams(tenth)}}
		p, err := promise.Pool(pick, promise.Costs{Broken: c.over, Unsold: c.under}, 0)
		if err != nil || math.Abs(float64(p.Total)/1000-c.best) > c.off {
			t.Errorf("%s: %d g promised (%v), want %v kg", c.name, p.Total, err, c.best)
		}
	}
}

// Uniform demand of 50 to 80 at the same price of 7 and cost of 5: 58.57 (Wikipedia, Newsvendor
// model, numerical examples; from memory).
func TestCriticalRatioOfAnyVariable(t *testing.T) {
	t.Parallel()
	if got := 50 + promise.Critical(2, 5)*30; math.Abs(got-58.57) > 0.005 {
		t.Errorf("uniform: %.3f", got)
	}
}

// Points of the standard normal distribution as printed in tables.
func TestNormalTable(t *testing.T) {
	t.Parallel()
	for level, want := range map[float64]float64{0.5: 0, 0.1: -1.2816, 0.9: 1.2816, 0.05: -1.6449, 0.975: 1.9600, 0.8413: 1} {
		if got := promise.Normal(level); math.Abs(got-want) > 0.0002 {
			t.Errorf("level %v: %.4f, want %.4f", level, got, want)
		}
	}
}

func TestPool(t *testing.T) {
	t.Parallel()
	// One in ten short: the critical ratio is 0.1, at which a lot alone gives its low figure.
	dear := promise.Costs{Broken: 900, Unsold: 100}
	two := []promise.Lot{{"a", "alder", 60000, 100000, 120000}, {"b", "birch", 70000, 100000, 130000}}
	one := []promise.Lot{{"a", "alder", 60000, 100000, 120000}, {"b", "alder", 70000, 100000, 130000}}
	cases := []struct {
		name        string
		lots        []promise.Lot
		costs       promise.Costs
		thousandths int
		total       int64
		alone       int64
	}{
		{"each for itself: spreads of 40 and 30 make one of 50", two, dear, 0, 150000, 130000},
		{"all together: nothing is gained", two, dear, 1000, 130000, 130000},
		{"half: root of half of 2500 and half of 4900", two, dear, 500, 200000 - 60828, 130000},
		{"one farm: nothing is gained", one, dear, 0, 130000, 130000},
		{"as dear one way as the other: what is likely", two, promise.Costs{Broken: 5, Unsold: 5}, 0, 200000, 200000},
		{"nine in ten: above what is likely, less so together", two, promise.Costs{Broken: 100, Unsold: 900}, 0, 200000 + 36055, 250000},
		{"an unsold kilogram costs nothing: promise nothing", two, promise.Costs{Broken: 1}, 0, 0, 0},
		{"a broken promise costs nothing: promise all", two, promise.Costs{Unsold: 1}, 0, 250000, 250000},
		{"what is known is promised", []promise.Lot{{"a", "alder", 5000, 5000, 5000}}, dear, 0, 5000, 5000},
		{"nothing", nil, dear, 0, 0, 0},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p, err := promise.Pool(c.lots, c.costs, c.thousandths)
			if err != nil {
				t.Fatal(err)
			}
			// Each lot is rounded down to whole grams.
			if math.Abs(float64(p.Total-c.total)) > 2 || math.Abs(float64(p.Alone-c.alone)) > 2 {
				t.Errorf("%d promised and %d alone, want %d and %d", p.Total, p.Alone, c.total, c.alone)
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	good := promise.Costs{Broken: 1, Unsold: 1}
	cases := []struct {
		lot         promise.Lot
		costs       promise.Costs
		thousandths int
		says        string
	}{
		{promise.Lot{}, promise.Costs{}, 0, "costs 0 and 0"},
		{promise.Lot{}, promise.Costs{Broken: -1, Unsold: 5}, 0, "costs -1 and 5"},
		{promise.Lot{}, good, 1001, "correlation 1001"},
		{promise.Lot{ID: "a", Low: 2, Likely: 1, High: 3}, good, 0, "lot a expects 2, 1 and 3"},
		{promise.Lot{ID: "a", Low: -1}, good, 0, "lot a expects"},
		{promise.Lot{ID: "a", High: 1 << 60}, good, 0, "lot a expects"},
	}
	for _, c := range cases {
		_, err := promise.Pool([]promise.Lot{c.lot}, c.costs, c.thousandths)
		var problem *promise.Problem
		if !errors.As(err, &problem) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v, want a *Problem that says %q", err, c.says)
		}
	}
}

func drawLots(t *rapid.T) []promise.Lot {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) promise.Lot {
		low := rapid.Int64Range(0, 50000).Draw(t, "low")
		likely := low + rapid.Int64Range(0, 50000).Draw(t, "likely")
		return promise.Lot{ID: "lot", Farm: rapid.SampledFrom([]string{"alder", "birch", "cedar"}).Draw(t, "farm"), Low: low, Likely: likely, High: likely + rapid.Int64Range(0, 50000).Draw(t, "high")}
	}), 0, 12).Draw(t, "lots")
}

func TestPoolingProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lots := drawLots(t)
		costs := promise.Costs{Broken: rapid.Int64Range(1, 1000).Draw(t, "broken"), Unsold: rapid.Int64Range(1, 1000).Draw(t, "unsold")}
		pool := func(c promise.Costs, r int) promise.Promise {
			p, err := promise.Pool(lots, c, r)
			if err != nil {
				t.Fatal(err)
			}
			return p
		}
		r := rapid.IntRange(0, 999).Draw(t, "correlation")
		p := pool(costs, r)
		slack := int64(2 * len(lots))
		for i, l := range lots {
			if p.Grams[i] < 0 || p.Grams[i] > l.High {
				t.Fatalf("%d grams of %+v", p.Grams[i], l)
			}
		}
		if costs.Broken >= costs.Unsold && (p.Gained() < -slack || p.Gained() < pool(costs, r+1).Gained()-slack) {
			t.Fatalf("pooling gains %d, and %d with more dependence", p.Gained(), pool(costs, r+1).Gained())
		}
		dearer := costs
		dearer.Broken += 50
		if q := pool(dearer, r); q.Total > p.Total {
			t.Fatalf("%d is promised, and %d where a broken promise is dearer", p.Total, q.Total)
		}
	})
}

// The promise at which the expected cost, computed by drawing from the distribution, is least is
// the one that is given.
func TestNoOtherPromiseCostsLess(t *testing.T) {
	t.Parallel()
	lot := promise.Lot{ID: "a", Farm: "alder", Low: 60000, Likely: 100000, High: 120000}
	costs := promise.Costs{Broken: 300, Unsold: 120}
	p, err := promise.Pool([]promise.Lot{lot}, costs, 0)
	if err != nil {
		t.Fatal(err)
	}
	expected := func(q int64) float64 {
		sum, draws := 0.0, 2000
		for i := range draws {
			z := promise.Normal((float64(i) + 0.5) / float64(draws))
			s := float64(lot.Likely-lot.Low) / 1.2815515655446004
			if z > 0 {
				s = float64(lot.High-lot.Likely) / 1.2815515655446004
			}
			if short := float64(q) - float64(lot.Likely) - z*s; short > 0 {
				sum += short * float64(costs.Broken)
			} else {
				sum -= short * float64(costs.Unsold)
			}
		}
		return sum
	}
	at := expected(p.Total)
	for _, other := range []int64{p.Total - 3000, p.Total - 500, p.Total + 500, p.Total + 3000} {
		if expected(other) < at {
			t.Errorf("%d costs less than %d", other, p.Total)
		}
	}
	if diff := cmp.Diff(120.0/420.0, p.Level); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
