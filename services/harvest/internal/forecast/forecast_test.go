package forecast_test

import (
	"errors"
	"slices"
	"testing"

	"breakshare.example/services/harvest/internal/forecast"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// firstBreak is a first break of a 200 m² room, larger than likely.
func firstBreak(from int, factor int64) []forecast.Pick {
	var out []forecast.Pick
	for i, g := range []int64{150_000, 600_000, 700_000, 400_000, 150_000} {
		out = append(out, forecast.Pick{Day: from + i, Grams: g * factor / 10})
	}
	return out
}

func TestSameCropSameAnswerInAnyOrder(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.WhiteShelf)
	c := cropOf(7, 2000)
	c.Picks = firstBreak(34, 10)
	want := mustForecast(t, m, c, 40, 28)
	slices.Reverse(c.Picks)
	slices.Reverse(c.Stages)
	half := c.Picks[0].Grams / 2
	c.Picks = append(c.Picks, forecast.Pick{Day: c.Picks[0].Day, Grams: half})
	c.Picks[0].Grams -= half // two rounds on one day
	got := mustForecast(t, m, c, 40, 28)
	if diff := cmp.Diff(want.Days(), got.Days()); diff != "" {
		t.Errorf("order of picks changed the forecast:\n%s", diff)
	}
}

func TestBigFirstBreakRaisesWhatFollows(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.WhiteShelf)
	next := func(factor int64) forecast.Break {
		c := cropOf(3, 2000)
		c.Picks = firstBreak(34, factor)
		breaks := mustForecast(t, m, c, 40, 28).Breaks()
		i := slices.IndexFunc(breaks, func(b forecast.Break) bool { return b.Number == 2 })
		if i < 0 {
			t.Fatalf("no second break in %+v", breaks)
		}
		return breaks[i]
	}
	small, big := next(5), next(15)
	if small.Likely >= big.Likely {
		t.Errorf("second break likely %d g after a small first one, %d g after a big one", small.Likely, big.Likely)
	}
	if small.FirstDay < 40 || small.FirstDay > 45 {
		t.Errorf("second break begins on day %d, want 6 to 11 days after the first on day 34", small.FirstDay)
	}
}

func TestPicksNarrowTheTotal(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.WhiteShelf)
	width := func(c forecast.Crop, from int) float64 {
		f := mustForecast(t, m, c, from, 60)
		low, _ := f.TotalQuantile(from, from+59, 0.1)
		high, _ := f.TotalQuantile(from, from+59, 0.9)
		mid, _ := f.TotalQuantile(from, from+59, 0.5)
		return float64(high-low) / float64(mid)
	}
	before := width(cropOf(5, 2000), 39)
	c := cropOf(5, 2000)
	c.Picks = firstBreak(34, 10)
	if after := width(c, 39); after >= before {
		t.Errorf("spread of what is left %.2f, want below %.2f", after, before)
	}
}

func TestEmptyDaysAreNotMissingDays(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.WhiteShelf)
	silent, empty := cropOf(9, 2000), cropOf(9, 2000)
	for day := 30; day < 37; day++ {
		empty.Picks = append(empty.Picks, forecast.Pick{Day: day})
	}
	first := func(c forecast.Crop) int { return mustForecast(t, m, c, 37, 28).Breaks()[0].FirstDay }
	if s, e := first(silent), first(empty); e <= s {
		t.Errorf("a week of empty rounds puts the first break on day %d, no record at all on day %d; want it later", e, s)
	}
}

// At ten in the morning a tenth of the day's mushrooms is weighed. That the day
// is not over makes the difference between a poor break and one just begun on.
func TestADayThatIsNotOverBearsAtLeastWhatWasPicked(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.WhiteShelf)
	tomorrow := func(today ...forecast.Pick) int64 {
		c := cropOf(3, 2000)
		c.Picks = append(firstBreak(34, 10)[:2], today...) // 150 and 600 kg on days 34 and 35
		return mustForecast(t, m, c, 37, 1).Days()[0].Likely
	}
	unknown := tomorrow()
	over, open := tomorrow(forecast.Pick{Day: 36, Grams: 60_000}), tomorrow(forecast.Pick{Day: 36, Grams: 60_000, Open: true})
	if over > unknown*3/4 {
		t.Errorf("after a day of 60 kg %d g are likely tomorrow, %d g where nothing is known of it", over, unknown)
	}
	if open < unknown*9/10 || open > unknown*11/10 {
		t.Errorf("with 60 kg picked so far %d g are likely tomorrow, want about the %d g where nothing is known", open, unknown)
	}
	if much := tomorrow(forecast.Pick{Day: 36, Grams: 1_500_000, Open: true}); much <= unknown {
		t.Errorf("with 1,500 kg picked so far %d g are likely tomorrow, want more than %d", much, unknown)
	}
	parts := tomorrow(forecast.Pick{Day: 36, Grams: 40_000}, forecast.Pick{Day: 36, Grams: 20_000, Open: true})
	if parts != open {
		t.Errorf("in two rounds %d g are likely, in one %d", parts, open)
	}
}

func TestRealStageDateShiftsTheForecast(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.WhiteShelf)
	early, late := cropOf(2, 2000), cropOf(2, 2000)
	late.Stages[1].Day += 3
	a, b := mustForecast(t, m, early, 30, 28).Days(), mustForecast(t, m, late, 33, 28).Days()
	for i := range a {
		b[i].Day -= 3
	}
	if diff := cmp.Diff(a, b); diff != "" {
		t.Errorf("casing three days later must shift the forecast by three days:\n%s", diff)
	}
	pinned := cropOf(2, 2000)
	pinned.Stages = append(pinned.Stages, forecast.StageDate{Stage: forecast.Pinned, Day: 32})
	if got := mustForecast(t, m, pinned, 33, 28).Breaks()[0]; got.FirstDay < 37 || got.FirstDay > 41 {
		t.Errorf("pins on day 32: first pick on day %d, want 5 to 9 days later", got.FirstDay)
	}
}

func TestNothingAfterTheLastDay(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.WhiteShelf)
	c := cropOf(4, 2000)
	last := 40
	c.LastDay = &last
	for _, d := range mustForecast(t, m, c, 34, 28).Days() {
		if d.Day > last && d.High != 0 {
			t.Errorf("day %d bears %d g after the last day %d", d.Day, d.High, last)
		}
	}
	total := int64(0)
	for _, b := range mustForecast(t, m, c, 41, 28).Breaks() {
		total += b.High
	}
	if total != 0 {
		t.Errorf("breaks after the last day bear %d g", total)
	}
}

func TestBreakNumberIsProposed(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.WhiteShelf)
	c := cropOf(6, 2000)
	c.Picks = firstBreak(34, 10)
	for day := 39; day < 42; day++ {
		c.Picks = append(c.Picks, forecast.Pick{Day: day})
	}
	for _, d := range mustForecast(t, m, c, 42, 5).Days() {
		if d.Day >= 44 && (d.Break != 2 || d.BreakPerMille < 500) {
			t.Errorf("day %d is put to break %d (%d ‰), want 2", d.Day, d.Break, d.BreakPerMille)
		}
	}
	if d := mustForecast(t, m, cropOf(6, 2000), 35, 1).Days()[0]; d.Break != 1 {
		t.Errorf("day 35 of a crop cased on day 16 is put to break %d, want 1", d.Break)
	}
}

func TestQuantilesRise(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.OysterBag)
	rapid.Check(t, func(t *rapid.T) {
		c := forecast.Crop{
			Seed: rapid.Uint64().Draw(t, "seed"), AreaTenthM2: rapid.Int64Range(1, 100_000).Draw(t, "area"),
			Stages: []forecast.StageDate{{Stage: forecast.Filled}},
		}
		from := rapid.IntRange(0, 80).Draw(t, "from")
		for day := range from {
			if rapid.Bool().Draw(t, "recorded") {
				c.Picks = append(c.Picks, forecast.Pick{Day: day, Grams: rapid.Int64Range(0, 3_000_000).Draw(t, "grams")})
			}
		}
		f, err := m.Forecast(c, from, 28)
		if err != nil {
			t.Fatalf("Forecast: %v", err)
		}
		for _, d := range f.Days() {
			var last int64
			for _, p := range []float64{0, 0.1, 0.37, 0.5, 0.9, 1} {
				q, err := f.Quantile(d.Day, p)
				if err != nil || q < last {
					t.Fatalf("day %d: quantile %v is %d, %v, below %d", d.Day, p, q, err, last)
				}
				last = q
			}
			if q, _ := f.Quantile(d.Day, 0.5); q != d.Likely {
				t.Fatalf("day %d: median %d, likely %d", d.Day, q, d.Likely)
			}
		}
	})
}

func TestSumAddsUp(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.WhiteShelf)
	var parts []*forecast.Forecast
	var shift []int
	var mean int64
	for i := range 20 {
		f := mustForecast(t, m, cropOf(uint64(i), 1500), 34, 14)
		parts, shift = append(parts, f), append(shift, 100-34)
		mean += f.Days()[3].Mean
	}
	sum, err := forecast.Sum(100, 14, parts, shift)
	if err != nil {
		t.Fatalf("Sum: %v", err)
	}
	day := sum.Days()[3]
	if diff := day.Mean - mean; diff < -20 || diff > 20 {
		t.Errorf("mean of the sum %d, sum of the means %d", day.Mean, mean)
	}
	alone := parts[0].Days()[3]
	if float64(day.High-day.Low)/float64(day.Mean) >= float64(alone.High-alone.Low)/float64(alone.Mean) {
		t.Error("twenty rooms together must be surer than one")
	}
	var refused *forecast.CropError
	if _, err := forecast.Sum(0, 14, parts, nil); !errors.As(err, &refused) {
		t.Errorf("Sum without shifts: %v", err)
	}
	if _, err := forecast.Sum(0, 0, parts, shift); !errors.As(err, &refused) {
		t.Errorf("Sum over no days: %v", err)
	}
	if far, err := forecast.Sum(500, 7, parts, shift); err != nil || far.Days()[0].High != 0 {
		t.Errorf("Sum beyond all forecasts: %v", err)
	}
}

func TestForecastRefuses(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.WhiteShelf)
	for name, c := range map[string]struct {
		spoil      func(*forecast.Crop)
		from, days int
		field      string
	}{
		"no area":         {func(c *forecast.Crop) { c.AreaTenthM2 = 0 }, 34, 28, "area"},
		"no days":         {func(*forecast.Crop) {}, 34, 0, "days"},
		"far future":      {func(*forecast.Crop) {}, 34, 500, "days"},
		"before filling":  {func(*forecast.Crop) {}, -1, 28, "from"},
		"no stage":        {func(c *forecast.Crop) { c.Stages = nil }, 34, 28, "stages"},
		"stage twice":     {func(c *forecast.Crop) { c.Stages = append(c.Stages, c.Stages[0]) }, 34, 28, "stages"},
		"stage too late":  {func(c *forecast.Crop) { c.Stages[0].Day = 4000 }, 34, 28, "stages"},
		"pick today":      {func(c *forecast.Crop) { c.Picks = []forecast.Pick{{Day: 34, Grams: 1}} }, 34, 28, "picks"},
		"less than none":  {func(c *forecast.Crop) { c.Picks = []forecast.Pick{{Day: 30, Grams: 1}, {Day: 30, Grams: -2}} }, 34, 28, "picks"},
		"more than earth": {func(c *forecast.Crop) { c.Picks = []forecast.Pick{{Day: 30, Grams: 1 << 50}} }, 34, 28, "picks"},
	} {
		crop := cropOf(1, 2000)
		c.spoil(&crop)
		_, err := m.Forecast(crop, c.from, c.days)
		var refused *forecast.CropError
		if !errors.As(err, &refused) || refused.Field != c.field {
			t.Errorf("%s: error %v, want one on %s", name, err, c.field)
		}
	}
	f := mustForecast(t, m, cropOf(1, 2000), 34, 28)
	for _, err := range []error{second(f.Quantile(33, 0.5)), second(f.Quantile(62, 0.5)), second(f.Quantile(40, 1.5)), second(f.TotalQuantile(41, 40, 0.5))} {
		var refused *forecast.CropError
		if !errors.As(err, &refused) {
			t.Errorf("error %v, want a CropError", err)
		}
	}
}

func FuzzForecast(f *testing.F) {
	f.Add(uint64(1), int64(2000), 34, []byte{3, 200, 0, 255, 9})
	f.Add(uint64(9), int64(1), 0, []byte{})
	f.Add(uint64(0), int64(999_999), 399, []byte{255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255, 255})
	m := mustModel(f, forecast.BrownBulk)
	f.Fuzz(func(t *testing.T, seed uint64, area int64, from int, picks []byte) {
		c := cropOf(seed, area)
		for i, b := range picks {
			c.Picks = append(c.Picks, forecast.Pick{Day: i, Grams: int64(b) * int64(b) * 1000})
		}
		got, err := m.Forecast(c, from, 28)
		if err != nil {
			return
		}
		for _, d := range got.Days() {
			if d.Low < 0 || d.Low > d.Likely || d.Likely > d.High || d.BreakPerMille < 0 || d.BreakPerMille > 1000 {
				t.Fatalf("impossible day %+v", d)
			}
		}
	})
}
