package forecast_test

import (
	"errors"
	"math"
	"testing"

	"breakshare.example/services/harvest/internal/forecast"
)

func TestDefaultsCanBeUsed(t *testing.T) {
	t.Parallel()
	for _, p := range forecast.Defaults() {
		if err := p.Check(); err != nil {
			t.Errorf("%s: %v", p.Name, err)
		}
		var shares float64
		for _, r := range p.Shares {
			shares += r.Likely
		}
		if math.Abs(shares-100) > 0.5 {
			t.Errorf("%s: likely shares add up to %v %%, want 100", p.Name, shares)
		}
	}
}

func lag(t *testing.T, p forecast.Profile, from forecast.Stage) forecast.Range {
	t.Helper()
	for _, l := range p.FirstPick {
		if l.From == from {
			return l.Days
		}
	}
	t.Fatalf("%s has no lag from %s", p.Name, from)
	return forecast.Range{}
}

// Penn State, Basic Procedures for Agaricus Mushroom Growing, 2003: casing to
// first pick 15–21 d, airing to first pick 10–12 d, picking 2–4 d in a cycle of
// 7–10 d. Common practice, no source: casing to first pick 18–21 d, a break is
// picked over 3–5 d, breaks come 7–10 d apart, harvest lasts 35–42 d or less.
func TestBreakTimingOfWhiteAgaricus(t *testing.T) {
	t.Parallel()
	p := profileOf(t, forecast.WhiteShelf)
	cased, aired := lag(t, p, forecast.Cased), lag(t, p, forecast.Aired)
	if cased.Low != 15 || cased.High != 21 || cased.Likely < 18 {
		t.Errorf("casing to first pick %+v, want 15–21 d and likely within 18–21 d", cased)
	}
	if aired.Low != 10 || aired.High != 12 {
		t.Errorf("airing to first pick %+v, want 10–12 d", aired)
	}
	if p.Interval.Likely < 7 || p.Interval.Likely > 10 {
		t.Errorf("interval %v d, want 7–10", p.Interval.Likely)
	}
	if w := p.Width; w.Likely < 3 || w.Likely > 4 || w.Low < 2 || w.High > 6 {
		t.Errorf("width %+v d, want within the overlap of 2–4 and 3–5 most often", w)
	}
}

// Penn State, Basic Procedures, 2003: with the first break on day 0 and a cycle
// of 7–10 d, the third break starts on day 14–20 and a fourth on day 21–30.
func TestLaterBreaksFollowTheCycle(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.WhiteShelf)
	f := mustForecast(t, m, cropOf(1, 2000), 16, 80)
	breaks := f.Breaks()
	if len(breaks) != 3 {
		t.Fatalf("%d breaks, want 3", len(breaks))
	}
	if d := breaks[2].FirstDay - breaks[0].FirstDay; d < 14 || d > 20 {
		t.Errorf("third break starts %d d after the first, want 14–20", d)
	}
	if d := breaks[2].LastDay - breaks[0].FirstDay; d > 42 {
		t.Errorf("harvest lasts %d d, want at most 42", d)
	}
}

// Miller, Harper, Macauley and Gulliver 1990: 19.4 kg/m². Penn State, Basic
// Procedures, 2003: US mean of 2001 28.1 kg/m² (5.75 lb/ft²). USDA NASS for
// Chester County, 2019–21: 32.8–33.0 kg/m².
func TestPublishedYieldsAreWithinTheBand(t *testing.T) {
	t.Parallel()
	m := mustModel(t, forecast.WhiteShelf)
	f := mustForecast(t, m, cropOf(1, 10), 16, 90)
	for _, kg := range []float64{19.4, 28.1} {
		low, _ := f.TotalQuantile(16, 105, 0.02)
		high, _ := f.TotalQuantile(16, 105, 0.98)
		if g := int64(kg * 1000); g < low || g > high {
			t.Errorf("%v kg/m² is outside the forecast's %d to %d g", kg, low, high)
		}
	}
	if most, _ := f.TotalQuantile(16, 105, 1); most > 80_000 {
		t.Errorf("a member bears %d g/m², which no bed has", most)
	}
}

// Miller et al. 1990: 0.66 kg fresh per kg dry compost is a biological
// efficiency of 66 %, and 19.4 kg/m² then means 29.39 kg dry compost per m².
// Mamiro and Royse 2007, Bioresource Technology: 12.8 kg/m² at 70.9 % means
// 18.05 kg/m². Horticulturae 2025, 11(10):1220: lion's mane per bag of 275 g dry.
func TestBiologicalEfficiency(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		fresh, dry int64 // centigrams, so that the printed decimals stay whole
		want       float64
	}{
		{66, 100, 66}, {1_940_000, 2_939_394, 66}, {1_280_000, 1_805_360, 70.9},
		{25000, 27500, 90.91}, {25385, 27500, 92.31}, {24079, 27500, 87.56}, {19379, 27500, 70.47}, {25201, 27500, 91.64},
		{24445, 27500, 88.89}, {21942, 27500, 79.79}, {24995, 27500, 90.89}, {24115, 27500, 87.69}, {21027, 27500, 76.46},
	} {
		got, err := forecast.BiologicalEfficiency(c.fresh, c.dry)
		if err != nil || math.Abs(got-c.want) > 0.0051 {
			t.Errorf("BiologicalEfficiency(%d, %d) = %v, %v; want %v", c.fresh, c.dry, got, err, c.want)
		}
	}
	y, err := forecast.YieldOf(forecast.Range{Low: 60, Likely: 66, High: 72, Basis: forecast.CommonPractice}, 29_394)
	if err != nil || math.Abs(y.Likely-19_400) > 1 {
		t.Errorf("YieldOf = %+v, %v; want 19.4 kg/m²", y, err)
	}
	// Royse 1985: 0.79 % a day over 116 d.
	if rate, err := forecast.ProductionRate(0.79*116, 116); err != nil || math.Abs(rate-0.79) > 1e-9 {
		t.Errorf("ProductionRate = %v, %v; want 0.79", rate, err)
	}
	var refused *forecast.YieldError
	for _, err := range []error{second(forecast.BiologicalEfficiency(1, 0)), second(forecast.ProductionRate(1, 0)), second(forecast.YieldOf(forecast.Range{}, 1))} {
		if !errors.As(err, &refused) {
			t.Errorf("error %v, want a YieldError", err)
		}
	}
}

// The most a bed bears in a day must lie above nearly all of the forecast's
// days, and grow with the area.
func TestDayMost(t *testing.T) {
	t.Parallel()
	for _, p := range forecast.Defaults() {
		m := mustModel(t, p.Name)
		most := m.DayMost(2000)
		f := mustForecast(t, m, forecast.Crop{Seed: 1, AreaTenthM2: 2000, Stages: []forecast.StageDate{{Stage: forecast.Filled}}}, 10, 90)
		for day := 10; day < 100; day++ {
			if q, err := f.Quantile(day, 0.99); err != nil || q > most {
				t.Errorf("%s: the 99 %% quantile of day %d is %d g (%v), above the most %d g", p.Name, day, q, err, most)
			}
		}
		if twice := m.DayMost(4000); twice < 2*most-1 || twice > 2*most+1 {
			t.Errorf("%s: twice the bed bears %d g at most, want twice %d g", p.Name, twice, most)
		}
		if float64(most) > p.Yield.High*200 {
			t.Errorf("%s: %d g in a day is more than a whole crop", p.Name, most)
		}
	}
	if got := mustModel(t, forecast.OysterBag).DayMost(0); got != 0 {
		t.Errorf("no bed bears %d g", got)
	}
}

func second[T any](_ T, err error) error { return err }

func TestProfileCheckNamesWhatIsWrong(t *testing.T) {
	t.Parallel()
	sound := forecast.Range{Low: 1, Likely: 2, High: 3, Basis: forecast.CommonPractice}
	for field, spoil := range map[string]func(*forecast.Profile){
		"first pick":             func(p *forecast.Profile) { p.FirstPick = nil },
		"first pick after cased": func(p *forecast.Profile) { p.FirstPick[2].Days.Low = 99 },
		"interval":               func(p *forecast.Profile) { p.Interval.Likely = math.NaN() },
		"width":                  func(p *forecast.Profile) { p.Width.Basis = 0 },
		"yield": func(p *forecast.Profile) {
			p.Yield = forecast.Range{Low: 1, Likely: 2, High: 3, Basis: forecast.Published}
		},
		"shares":      func(p *forecast.Profile) { p.Shares = make([]forecast.Range, 9) },
		"pick stages": func(p *forecast.Profile) { p.PickStages[0].PerMille++ },
	} {
		p := profileOf(t, forecast.WhiteShelf)
		spoil(&p)
		_, err := forecast.New(p, forecast.Shipped())
		var refused *forecast.ProfileError
		if !errors.As(err, &refused) || refused.Field != field {
			t.Errorf("spoilt %s: error %v", field, err)
		}
	}
	p := profileOf(t, forecast.WhiteShelf)
	p.FirstPick = append(p.FirstPick, forecast.Lag{From: forecast.Cased, Days: sound})
	if p.Check() == nil {
		t.Error("a stage named twice was accepted")
	}
	s := forecast.Shipped()
	s.DayNoise = 0
	if _, err := forecast.New(profileOf(t, forecast.OysterBag), s); err == nil {
		t.Error("settings without noise were accepted")
	}
}
