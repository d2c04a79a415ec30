package fusion_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"breakshare.example/services/harvest/internal/fusion"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func near(t *testing.T, name string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %v, want %v ± %v", name, got, want, within)
	}
}

// Taylor, An Introduction to Error Analysis, ch. 7: 11 ± 1, 12 ± 1 and 10 ± 3
// combine to 217/19 = 11.42105 with standard deviation 3/√19 = 0.688247.
func TestInverseVarianceExample(t *testing.T) {
	t.Parallel()
	mean, sd, w := fusion.Combine(11, 1, 12, 1, 0)
	near(t, "weight of equals", w, 0.5, 1e-12)
	mean, sd, _ = fusion.Combine(mean, sd, 10, 3, 0)
	near(t, "mean", mean, 11.42105, 1e-5)
	near(t, "standard deviation", sd, 0.688247, 1e-6)
}

// A normal prior and a normal reading combine by the same rule. Exercise: prior
// N(600, 25²), sample of 60 with mean 538 and σ = 116 → mean 554.372, standard
// deviation 12.847. MIT OpenCourseWare 18.05, class 15 (from memory): prior
// N(4, 8), one reading 3 with variance 4 → N(3.3333, 2.6667).
func TestNormalNormalExamples(t *testing.T) {
	t.Parallel()
	mean, sd, _ := fusion.Combine(600, 25, 538, 116/math.Sqrt(60), 0)
	near(t, "mean", mean, 554.372, 1e-3)
	near(t, "standard deviation", sd, 12.847, 1e-3)
	mean, sd, _ = fusion.Combine(4, math.Sqrt(8), 3, 2, 0)
	near(t, "mean", mean, 3.3333333, 1e-6)
	near(t, "variance", sd*sd, 2.6666667, 1e-6)
}

// The weights of Bates and Granger 1969 must be the best: nothing near them has
// less variance.
func TestCombineHasLeastVariance(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0.05, 3).Draw(t, "sd1")
		b := rapid.Float64Range(0.05, 3).Draw(t, "sd2")
		rho := rapid.Float64Range(0, 0.8).Draw(t, "rho")
		variance := func(w float64) float64 { return w*w*a*a + (1-w)*(1-w)*b*b + 2*w*(1-w)*rho*a*b }
		_, sd, w := fusion.Combine(1, a, 2, b, rho)
		if math.Abs(sd*sd-variance(w)) > 1e-9 {
			t.Fatalf("variance %v, want %v", sd*sd, variance(w))
		}
		for _, other := range []float64{0, 1, w - 0.01, w + 0.01} {
			if other >= 0 && other <= 1 && variance(other) < variance(w)-1e-9 {
				t.Fatalf("weight %v has variance %v, %v has %v", w, variance(w), other, variance(other))
			}
		}
	})
}

// past makes days on which a grower said what really came times factor, within
// a band of ±10 %, off by noise.
func past(n int, factor, noise float64) []fusion.Past {
	rng := rand.New(rand.NewPCG(4, 2))
	out := make([]fusion.Past, n)
	for i := range out {
		actual := int64(50_000 + 10_000*(i%7))
		likely := float64(actual) * factor * math.Exp(noise*rng.NormFloat64())
		out[i] = fusion.Past{AgeDays: i, Said: fusion.Band{Low: int64(0.9 * likely), Likely: int64(likely), High: int64(1.1 * likely)}, Actual: actual}
	}
	return out
}

const floor = 1000

func learn(t *testing.T, days []fusion.Past, prior fusion.Prior) fusion.Habit {
	t.Helper()
	h, err := fusion.Learn(days, prior, floor)
	if err != nil {
		t.Fatalf("Learn: %v", err)
	}
	return h
}

func TestHabitIsShrunkTowardsThePrior(t *testing.T) {
	t.Parallel()
	prior := fusion.DefaultPrior()
	none := learn(t, nil, prior)
	if none.Bias != prior.Habit.Bias || none.Spread != prior.Habit.Spread {
		t.Errorf("without days the habit is %+v, want the prior's", none)
	}
	want := -math.Log(1.2) // what a grower who says a fifth too much must be corrected by
	last := 0.0
	for _, n := range []int{2, 10, 60} {
		h := learn(t, past(n, 1.2, 0.05), prior)
		if h.Bias >= last || h.Bias < want-0.03 {
			t.Errorf("%d days: bias %v, want between %v and %v", n, h.Bias, want, last)
		}
		last = h.Bias
	}
	near(t, "bias after 60 days", last, want, 0.04)
	idle := append(past(10, 1.2, 0.05), fusion.Past{}, fusion.Past{})
	if diff := cmp.Diff(learn(t, past(10, 1.2, 0.05), prior), learn(t, idle, prior)); diff != "" {
		t.Errorf("idle days changed the habit:\n%s", diff)
	}
}

// One day by hand: prior bias 0 worth 6 days, and one day off by −0.1 gives
// −0.1/7; the spread is √((8×4 + (−0.1 + 0.1/7)²/s²)/9).
func TestHabitOfOneDayByHand(t *testing.T) {
	t.Parallel()
	day := fusion.Past{Said: fusion.Band{Low: 89_000, Likely: 99_000, High: 109_000}, Actual: int64(math.Round(100_000*math.Exp(-0.1))) - floor}
	h := learn(t, []fusion.Past{day}, fusion.DefaultPrior())
	near(t, "bias", h.Bias, -0.1/7, 1e-5)
	s := math.Log(110.0/90.0) / (2 * 1.2815515655446004)
	miss := -0.1 + 0.1/7
	near(t, "spread", h.Spread, math.Sqrt((8*4+miss*miss/(s*s))/9), 1e-4)
}

func TestOneOddDayDoesNotDecide(t *testing.T) {
	t.Parallel()
	days := past(20, 1, 0.05)
	before := learn(t, days, fusion.DefaultPrior())
	days[0].Actual = 0
	after := learn(t, days, fusion.DefaultPrior())
	if math.Abs(after.Bias-before.Bias) > 0.03 {
		t.Errorf("one empty day moved the bias from %v to %v", before.Bias, after.Bias)
	}
}

func TestPool(t *testing.T) {
	t.Parallel()
	start := fusion.DefaultPrior()
	if got := fusion.Pool([]fusion.Habit{{Bias: 1, Spread: 1, Days: 9}}, start); got != start {
		t.Errorf("one grower is no co-op, but the prior became %+v", got)
	}
	alike := fusion.Pool([]fusion.Habit{{0.1, 2, 500}, {0.1, 2, 500}, {0.1, 2, 500}}, start)
	apart := fusion.Pool([]fusion.Habit{{-0.4, 2, 500}, {0.1, 2, 500}, {0.6, 2, 500}}, start)
	near(t, "bias of growers alike", alike.Habit.Bias, 0.1, 0.002)
	if alike.BiasDays <= apart.BiasDays {
		t.Errorf("growers alike weigh %v days, growers apart %v; want more", alike.BiasDays, apart.BiasDays)
	}
}

func TestFuseShowsAllThree(t *testing.T) {
	t.Parallel()
	push := fusion.Band{Low: 90_000, Likely: 100_000, High: 110_000}
	model := fusion.Band{Low: 40_000, Likely: 60_000, High: 90_000}
	in := fusion.Input{
		Push: &push, Forecast: model, FloorGrams: floor,
		Grower: fusion.Habit{Bias: -0.1, Spread: 2}, Model: fusion.Habit{Spread: 1},
	}
	got, err := fusion.Fuse(in)
	if err != nil {
		t.Fatalf("Fuse: %v", err)
	}
	if *got.Push != push || got.Forecast != model {
		t.Errorf("what was said changed: %+v", got)
	}
	near(t, "corrected push", float64(got.PushFixed.Likely), 101_000*math.Exp(-0.1)-floor, 1)
	if got.Use.Likely <= model.Likely || got.Use.Likely >= got.PushFixed.Likely || got.PushPerMille <= 500 {
		t.Errorf("in use %+v with the push weighing %d ‰, want between both and nearer to the push", got.Use, got.PushPerMille)
	}
	in.CeilingGrams = 70_000
	if got, err = fusion.Fuse(in); err != nil || got.Use.High > 70_000 {
		t.Errorf("ceiling of 70 kg: %+v, %v", got.Use, err)
	}
	in.Own = fusion.Habit{Spread: 3}
	if wide, err := fusion.Fuse(in); err != nil || wide.Use.Low >= got.Use.Low || wide.Combined != got.Combined {
		t.Errorf("a figure that proved three times too sure: %+v, %v", wide, err)
	}
	in.Push = nil
	if got, err = fusion.Fuse(in); err != nil || got.Use != model || got.PushFixed != nil || got.PushPerMille != 0 {
		t.Errorf("without a push %+v, %v; want the forecast", got, err)
	}
}

func TestFuseStaysInOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		band := func(name string) fusion.Band {
			low := rapid.Int64Range(0, 1e9).Draw(t, name)
			likely := low + rapid.Int64Range(0, 1e8).Draw(t, name)
			return fusion.Band{Low: low, Likely: likely, High: likely + rapid.Int64Range(0, 1e8).Draw(t, name)}
		}
		push := band("push")
		habit := func(name string) fusion.Habit {
			return fusion.Habit{Bias: rapid.Float64Range(-1, 1).Draw(t, name), Spread: rapid.Float64Range(0, 5).Draw(t, name)}
		}
		out, err := fusion.Fuse(fusion.Input{
			Push: &push, Forecast: band("forecast"), Grower: habit("grower"), Model: habit("model"), Own: habit("own"),
			Correlation: rapid.Float64Range(-1, 1).Draw(t, "rho"), FloorGrams: rapid.Int64Range(1, 1e6).Draw(t, "floor"),
		})
		if err != nil {
			t.Fatalf("Fuse: %v", err)
		}
		if u := out.Use; u.Low < 0 || u.Low > u.Likely || u.Likely > u.High || out.PushPerMille < 0 || out.PushPerMille > 1000 {
			t.Fatalf("impossible figure %+v", out)
		}
	})
}

func TestCorrelation(t *testing.T) {
	t.Parallel()
	if got := fusion.Correlation(nil); got != fusion.DefaultCorrelation {
		t.Errorf("without a record %v, want %v", got, fusion.DefaultCorrelation)
	}
	var same, opposite []fusion.Pair
	for i := range 1000 {
		x := math.Sin(float64(i))
		same = append(same, fusion.Pair{Grower: x, Forecast: x})
		opposite = append(opposite, fusion.Pair{Grower: x, Forecast: -x})
	}
	if got := fusion.Correlation(same); got != 0.8 {
		t.Errorf("errors that go together: %v, want the bound 0.8", got)
	}
	if got := fusion.Correlation(opposite); got != 0 {
		t.Errorf("errors that go apart: %v, want the bound 0", got)
	}
	habit := fusion.Habit{Bias: 0, Spread: 1}
	pair := fusion.Errors(fusion.Band{Low: 9000, Likely: 9000, High: 9000}, fusion.Band{Low: 9000, Likely: 9000, High: 9000}, 9000, habit, habit, floor)
	if pair != (fusion.Pair{}) {
		t.Errorf("a day that came as said is off by %+v", pair)
	}
}

func TestFusionRefuses(t *testing.T) {
	t.Parallel()
	good, bad := fusion.Band{Low: 1, Likely: 2, High: 3}, fusion.Band{Low: 3, Likely: 2, High: 1}
	var band *fusion.BandError
	for whose, in := range map[string]fusion.Input{
		"push": {Push: &bad, Forecast: good, FloorGrams: 1}, "forecast": {Forecast: bad, FloorGrams: 1},
	} {
		if _, err := fusion.Fuse(in); !errors.As(err, &band) || band.Whose != whose {
			t.Errorf("falling %s: %v", whose, err)
		}
	}
	if _, err := fusion.Learn([]fusion.Past{{Said: bad}}, fusion.DefaultPrior(), 1); !errors.As(err, &band) {
		t.Errorf("falling past: %v", err)
	}
	var ground *fusion.FloorError
	if _, err := fusion.Fuse(fusion.Input{Forecast: good}); !errors.As(err, &ground) {
		t.Errorf("no floor: %v", err)
	}
	if _, err := fusion.Learn(nil, fusion.DefaultPrior(), 0); !errors.As(err, &ground) {
		t.Errorf("no floor: %v", err)
	}
}
