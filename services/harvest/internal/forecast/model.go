package forecast

import (
	"fmt"
	"math"
	"slices"
)

const (
	maxBreaks   = 8
	maxHorizon  = 120       // days
	maxCropDay  = 400       // days after filling
	maxAreaTen  = 1_000_000 // tenths of m²
	maxDayGrams = 1_000_000_000
)

// Settings are the figures of the model that are not the programme's: how
// rough a day's picking is and how large the ensemble. Shipped values are
// those with which the forecast beats the seasonal naive one on simulated
// seasons.
type Settings struct {
	DayNoise    float64 // σ_d, standard deviation of log grams on a full day
	BaseNoise   float64 // σ_0, standard deviation left when hardly anything is ready
	FloorShare  float64 // c as a part of the likely first break
	Persistence float64 // ρ, part of the interval's variance that is the crop's own pace
	Particles   int     // timing hypotheses carried through the picks
	Members     int     // futures from which quantiles are read
}

// Shipped returns the settings in use.
func Shipped() Settings {
	return Settings{DayNoise: 0.20, BaseNoise: 0.10, FloorShare: 0.02, Persistence: 0.5, Particles: 128, Members: 200}
}

// StageDate is a stage that really happened, Day days after filling.
type StageDate struct {
	Stage Stage
	Day   int
}

// Pick is what was picked on a day, in grams net. A day without mushrooms is a
// pick of 0; a day nobody wrote down is simply not listed. Several picks of a
// day are added up, and so is a correction, which may be negative.
type Pick struct {
	Day   int
	Grams int64
	Open  bool // the day is not over: Grams are the least that it bears
}

// Crop is what is known of one room's cycle.
type Crop struct {
	Seed        uint64 // any number that stays with the crop, e.g. a hash of its id
	AreaTenthM2 int64  // bed area in tenths of a square metre
	Stages      []StageDate
	Picks       []Pick
	LastDay     *int // last day on which it will be picked; absent while open
}

// Model is a profile made ready to forecast. It is safe for concurrent use.
type Model struct {
	profile  Profile
	settings Settings
	shareLog []float64
	breakVar float64
	yieldLog float64 // log grams per m²
	yieldVar float64
	strata   []float64 // standard normal at the mid of each particle's stratum
	rough    [noiseLevels][noiseDraws]float64
}

// Noise of future days is drawn from a table: exp(σ z) at noiseDraws evenly
// likely z, for each of noiseLevels values of h from 0 to 1. Drawing and raising
// afresh would take most of the time of a forecast.
const (
	noiseLevels = 16
	noiseDraws  = 512
)

// New prepares a model. It refuses a profile with a *ProfileError.
func New(p Profile, s Settings) (*Model, error) {
	if err := p.Check(); err != nil {
		return nil, fmt.Errorf("forecast: %w", err)
	}
	if s.DayNoise <= 0 || s.BaseNoise <= 0 || s.FloorShare <= 0 || s.FloorShare >= 1 ||
		s.Persistence < 0 || s.Persistence > 1 || s.Particles < 8 || s.Members < 20 {
		return nil, &ProfileError{Profile: p.Name, Field: "settings", Why: "noises and floor above 0, persistence 0 to 1, at least 8 particles and 20 members"}
	}
	m := &Model{
		profile: p, settings: s, shareLog: p.shareLogs(),
		yieldLog: math.Log(p.Yield.Likely), strata: make([]float64, s.Particles),
	}
	m.breakVar = math.Pow(p.breakSD(), 2)
	m.yieldVar = math.Pow(p.Yield.logSD(), 2)
	for i := range m.strata {
		m.strata[i] = evenly(i, s.Particles)
	}
	for level := range m.rough {
		h := float64(level) / (noiseLevels - 1)
		sd := math.Sqrt(m.noiseVar(h))
		for i := range m.rough[level] {
			m.rough[level][i] = math.Exp(sd * evenly(i, noiseDraws))
		}
	}
	return m, nil
}

// evenly is the i-th of n evenly likely values of a standard normal.
func evenly(i, n int) float64 {
	u := (float64(i) + 0.5) / float64(n)
	return math.Sqrt2 * math.Erfinv(2*u-1)
}

// floor is c of the package comment, in grams, for a bed of the given area.
func (m *Model) floor(areaM2 float64) float64 {
	return m.settings.FloorShare * areaM2 * m.profile.Yield.Likely * math.Exp(m.shareLog[0])
}

// noiseVar is the variance of log(y + c) about its median on a day whose slope
// h is ready/(ready + c).
func (m *Model) noiseVar(h float64) float64 {
	d := m.settings.DayNoise * h
	return d*d + m.settings.BaseNoise*m.settings.BaseNoise
}

// Forecast answers for days from, from+1, …, from+days−1, using the picks of
// earlier days. It refuses with a *CropError.
func (m *Model) Forecast(c Crop, from, days int) (*Forecast, error) {
	picks, err := m.check(c, from, days)
	if err != nil {
		return nil, err
	}
	return m.project(m.filter(c, picks), c, from, days), nil
}

// check validates and returns the picks, one per day, oldest first.
func (m *Model) check(c Crop, from, days int) ([]Pick, error) {
	switch {
	case c.AreaTenthM2 <= 0 || c.AreaTenthM2 > maxAreaTen:
		return nil, &CropError{"area", fmt.Sprintf("give the bed area in tenths of a m², 1 to %d, not %d", maxAreaTen, c.AreaTenthM2)}
	case days < 1 || days > maxHorizon:
		return nil, &CropError{"days", fmt.Sprintf("ask for 1 to %d days, not %d", maxHorizon, days)}
	case from < 0 || from > maxCropDay:
		return nil, &CropError{"from", fmt.Sprintf("day %d is not within %d days of filling", from, maxCropDay)}
	}
	for i, s := range c.Stages {
		if s.Day < 0 || s.Day > maxCropDay {
			return nil, &CropError{"stages", fmt.Sprintf("%s on day %d is not within %d days of filling", s.Stage, s.Day, maxCropDay)}
		}
		if slices.ContainsFunc(c.Stages[:i], func(o StageDate) bool { return o.Stage == s.Stage }) {
			return nil, &CropError{"stages", fmt.Sprintf("%s is given twice; keep the day on which it really happened", s.Stage)}
		}
	}
	if _, _, ok := m.profile.lagFrom(c.Stages); !ok {
		return nil, &CropError{"stages", "give the day of at least one stage from which the programme counts to the first pick"}
	}
	return daily(c.Picks, from)
}

// daily adds up the picks of each day.
func daily(picks []Pick, from int) ([]Pick, error) {
	out := slices.Clone(picks)
	slices.SortFunc(out, func(a, b Pick) int { return a.Day - b.Day })
	n := 0
	for _, p := range out {
		if p.Day < 0 || p.Day >= from {
			return nil, &CropError{"picks", fmt.Sprintf("a pick on day %d does not lie between filling and day %d, where the forecast begins", p.Day, from)}
		}
		if n > 0 && out[n-1].Day == p.Day {
			out[n-1].Grams += p.Grams
			out[n-1].Open = out[n-1].Open || p.Open
			continue
		}
		out[n] = p
		n++
	}
	out = out[:n]
	for _, p := range out {
		if p.Grams < 0 || p.Grams > maxDayGrams {
			return nil, &CropError{"picks", fmt.Sprintf("the picks of day %d add up to %d g, which cannot be", p.Day, p.Grams)}
		}
	}
	return out, nil
}
