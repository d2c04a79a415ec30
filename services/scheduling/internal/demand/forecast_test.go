package demand_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/demand"
)

var monday = calendar.On(2026, time.March, 2)

// shop is an invented product's demand: n weeks before monday, about 200 kg, growing
// a little, with a season, a Christmas that is half as much again and standing
// orders of a quarter; noise is seeded.
func shop(n int, season float64, seed uint64) demand.Input {
	in := demand.Input{First: monday, Weeks: 13}
	rng := rand.New(rand.NewPCG(seed, 7))
	for i := -n; i < 13; i++ {
		week := monday.Add(7 * i)
		grams := 200_000 + 150*float64(n+i) + season*math.Sin(2*math.Pi*float64(i)/52) + 8_000*rng.NormFloat64()
		christmas := week <= calendar.On(week.Time().Year(), time.December, 25) && week.Add(7) > calendar.On(week.Time().Year(), time.December, 25)
		if christmas {
			in.Holidays = append(in.Holidays, demand.Holiday{Week: week, Name: "Christmas"})
			grams *= 1.5
		}
		if i < 0 {
			in.History = append(in.History, demand.Past{Week: week, Grams: int64(grams), StandingGrams: 50_000})
		} else {
			in.Standing = append(in.Standing, demand.Standing{Week: week, Grams: 50_000})
		}
	}
	return in
}

func forecast(t interface {
	Helper()
	Fatalf(string, ...any)
}, in demand.Input) demand.Result {
	t.Helper()
	r, err := demand.Forecast(in)
	if err != nil {
		t.Fatalf("%v", err)
	}
	return r
}

// On three years of each of five seeded shops the chosen method beats the seasonal
// naive forecast, and clearly so on the whole.
func TestBeatsSeasonalNaive(t *testing.T) {
	t.Parallel()
	chosen, plain := 0.0, 0.0
	for seed := range uint64(5) {
		r := forecast(t, shop(160, 30_000, seed))
		best, _ := r.Score(r.Method)
		naive, ok := r.Score(demand.SeasonalNaive)
		if !ok {
			t.Fatal("seasonal naive was not scored")
		}
		if best.Accuracy.MeanAbsolute > naive.Accuracy.MeanAbsolute {
			t.Errorf("seed %d: %s misses by %.0f g, seasonal naive by %.0f", seed, r.Method, best.Accuracy.MeanAbsolute, naive.Accuracy.MeanAbsolute)
		}
		chosen += best.Accuracy.MeanScaled
		plain += naive.Accuracy.MeanScaled
	}
	if chosen > 0.85*plain {
		t.Errorf("mean scaled error %.3f, seasonal naive %.3f: too little gained", chosen/5, plain/5)
	}
	t.Logf("mean scaled error %.3f, seasonal naive %.3f", chosen/5, plain/5)
}

func TestHolidayIsLearntAndGivenBack(t *testing.T) {
	t.Parallel()
	in := shop(150, 0, 1)
	in.Holidays = append(in.Holidays, demand.Holiday{Week: monday.Add(21), Name: "Christmas"}) // wherever it falls next
	r := forecast(t, in)
	if len(r.Effects) != 1 || r.Effects[0].Occurrences != 3 {
		t.Fatalf("effects %+v, want Christmas from 3 weeks", r.Effects)
	}
	// Three times 1.5, drawn towards 1 by one more without effect: 1.5^(3/4) = 1.355.
	if got := r.Effects[0].Factor; math.Abs(got-1.355) > 0.04 {
		t.Errorf("Christmas factor %.3f, want about 1.355", got)
	}
	ratio := float64(r.Weeks[3].Grams) / float64(r.Weeks[2].Grams)
	if math.Abs(ratio-r.Effects[0].Factor) > 0.02 || r.Weeks[3].Holiday != "Christmas" {
		t.Errorf("Christmas week %+v against %+v", r.Weeks[3], r.Weeks[2])
	}
}

// Standing orders are known: 30 kg more from one week on are 30 kg more demand.
func TestStandingOrdersAddUp(t *testing.T) {
	t.Parallel()
	before := forecast(t, shop(60, 0, 2))
	in := shop(60, 0, 2)
	for i := range in.Standing {
		in.Standing[i].Grams += 30_000
	}
	after := forecast(t, in)
	for k := range after.Weeks {
		if more := after.Weeks[k].Grams - before.Weeks[k].Grams; more < 29_999 || more > 30_001 {
			t.Errorf("week %s: %d g more, want 30000", after.Weeks[k].Week, more)
		}
	}
}

func TestOverride(t *testing.T) {
	t.Parallel()
	in := shop(60, 0, 3)
	in.Overrides = []demand.Override{{Week: monday.Add(14), Grams: 999_000, Reason: "wedding fair", By: "Ada"}}
	r := forecast(t, in)
	w := r.Weeks[2]
	if w.Grams != 999_000 || w.Override == nil || w.Override.Reason != "wedding fair" || w.ModelGrams == 999_000 {
		t.Errorf("overruled week %+v", w)
	}
	if r.Weeks[1].Override != nil || r.Weeks[1].Grams != r.Weeks[1].ModelGrams {
		t.Errorf("other week %+v", r.Weeks[1])
	}
}

// Little is known: the mean of what is; nothing is: the standing orders.
func TestShortHistory(t *testing.T) {
	t.Parallel()
	in := demand.Input{First: monday, Weeks: 2, History: []demand.Past{{Week: monday.Add(-7), Grams: 90_000}, {Week: monday.Add(-21), Grams: 110_000}}}
	r := forecast(t, in)
	if r.Method != demand.Average || len(r.Scores) != 0 || r.Weeks[1].Grams != 100_000 {
		t.Errorf("two weeks known: %+v", r)
	}
	in = demand.Input{First: monday, Weeks: 2, Standing: []demand.Standing{{Week: monday.Add(7), Grams: 12_000}}}
	r = forecast(t, in)
	if r.Weeks[0].Grams != 0 || r.Weeks[1].Grams != 12_000 {
		t.Errorf("nothing known: %+v", r.Weeks)
	}
}

// A missing week is not a week without demand: leaving out every fifth week moves
// the forecast by little, reporting them as zero by much.
func TestMissingIsNotZero(t *testing.T) {
	t.Parallel()
	full, gaps, zeros := shop(90, 0, 4), shop(90, 0, 4), shop(90, 0, 4)
	gaps.History = nil
	for i, p := range full.History {
		if i%5 == 4 {
			zeros.History[i].Grams = 0
			continue
		}
		gaps.History = append(gaps.History, p)
	}
	want := float64(forecast(t, full).Weeks[4].Grams)
	if got := float64(forecast(t, gaps).Weeks[4].Grams); math.Abs(got/want-1) > 0.05 {
		t.Errorf("with gaps %.0f, without %.0f", got, want)
	}
	if got := float64(forecast(t, zeros).Weeks[4].Grams); math.Abs(got/want-1) < 0.05 {
		t.Errorf("zeros moved nothing: %.0f of %.0f", got, want)
	}
}

// Whatever the history: no negative grams, the order of input does not matter, the
// method used is the best scored, and what lies ahead of the first week is not
// looked at.
func TestForecastIsSound(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := demand.Input{First: monday, Weeks: rapid.IntRange(1, 20).Draw(t, "weeks")}
		n := rapid.IntRange(0, 60).Draw(t, "n")
		for i := range n {
			if rapid.IntRange(0, 9).Draw(t, "known") == 0 {
				continue
			}
			in.History = append(in.History, demand.Past{
				Week: monday.Add(7 * (i - n)), Grams: rapid.Int64Range(0, 1_000_000).Draw(t, "grams"),
				StandingGrams: rapid.Int64Range(0, 300_000).Draw(t, "standing"),
			})
		}
		r := forecast(t, in)
		best := math.Inf(1)
		for _, s := range r.Scores {
			best = min(best, s.Accuracy.MeanAbsolute)
		}
		if used, ok := r.Score(r.Method); ok && used.Accuracy.MeanAbsolute > best {
			t.Fatalf("%s is used, %.1f could be had", r.Method, best)
		}
		for _, w := range r.Weeks {
			if w.Grams < 0 || w.Grams != w.ModelGrams {
				t.Fatalf("week %+v", w)
			}
		}
		other := in
		other.History = append(rapid.Permutation(in.History).Draw(t, "order"), demand.Past{Week: monday.Add(7), Grams: 77_000_000})
		if diff := cmp.Diff(r, forecast(t, other)); diff != "" {
			t.Fatalf("order or the future matters:\n%s", diff)
		}
	})
}

func TestRefuses(t *testing.T) {
	t.Parallel()
	good := demand.Override{Week: monday, Grams: 1, Reason: "fair", By: "Ada"}
	for name, c := range map[string]struct {
		change func(*demand.Input)
		path   string
	}{
		"week not a Monday":   {func(in *demand.Input) { in.History[3].Week++ }, "history[3].week"},
		"week twice":          {func(in *demand.Input) { in.History[3].Week = in.History[2].Week }, "history[3].week"},
		"negative grams":      {func(in *demand.Input) { in.History[0].Grams = -1 }, "history[0].grams"},
		"absurd grams":        {func(in *demand.Input) { in.Standing[1].Grams = math.MaxInt64 }, "standing[1].grams"},
		"no weeks":            {func(in *demand.Input) { in.Weeks = 0 }, "weeks"},
		"too many weeks":      {func(in *demand.Input) { in.Weeks = 105 }, "weeks"},
		"first not a Monday":  {func(in *demand.Input) { in.First++ }, "first"},
		"first off the map":   {func(in *demand.Input) { in.First = calendar.FirstDate - 3 }, "first"},
		"ancient history":     {func(in *demand.Input) { in.History[0].Week = in.First.Add(-7 * 1041) }, "history[0].week"},
		"nameless holiday":    {func(in *demand.Input) { in.Holidays = []demand.Holiday{{Week: monday}} }, "holidays[0].name"},
		"override no reason":  {func(in *demand.Input) { o := good; o.Reason = " "; in.Overrides = []demand.Override{o} }, "overrides[0].reason"},
		"override nobody":     {func(in *demand.Input) { o := good; o.By = ""; in.Overrides = []demand.Override{o} }, "overrides[0].by"},
		"override in history": {func(in *demand.Input) { o := good; o.Week -= 7; in.Overrides = []demand.Override{o} }, "overrides[0].week"},
		"override twice":      {func(in *demand.Input) { in.Overrides = []demand.Override{good, good} }, "overrides[1].week"},
	} {
		in := shop(20, 0, 5)
		c.change(&in)
		_, err := demand.Forecast(in)
		var bad *demand.InputError
		if !errors.As(err, &bad) || bad.Path != c.path || !strings.Contains(err.Error(), c.path) {
			t.Errorf("%s: error %v, want one at %s", name, err, c.path)
		}
	}
}

// BenchmarkForecast is one product with three years of history, all methods scored.
func BenchmarkForecast(b *testing.B) {
	in := shop(160, 30_000, 1)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := demand.Forecast(in); err != nil {
			b.Fatal(err)
		}
	}
}
