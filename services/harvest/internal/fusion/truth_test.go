package fusion_test

import (
	"math"
	"math/rand/v2"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/forecast"
	"breakshare.example/services/harvest/internal/growth"
)

// The truth of the simulated seasons. It shares no formula with the forecast:
// breaks are two overlapping gamma humps instead of one Beta, their timing
// follows the farm's own temperature through growth units instead of a drawn
// interval, what is not picked today is carried over and grows on, pickers are
// short on Sundays, and growers guess with a bias of their own, with bands that
// are far too narrow, and forget.

// trueCrop is one room's cycle as it really goes. Day 0 is filling.
type trueCrop struct {
	area     int64   // tenths of m²
	cased    int     // day
	picked   []int64 // grams per day
	recorded []bool  // whether anybody wrote the pick down
	pushed   []*guess
	breaks   []int // day of the first pick of each break
}

type guess struct{ low, likely, high int64 }

// grower is one person's way of guessing.
type grower struct{ bias, noise, band, forget, lazy float64 }

type farm struct {
	rng     *rand.Rand
	grower  grower
	air     []float64 // degrees above the set temperature, by day of the season
	yield   float64   // of the farm, log
	pickers float64
}

const seasonDays = 150

func newFarm(rng *rand.Rand) *farm {
	f := &farm{
		rng: rng,
		grower: grower{
			bias: 0.12 + 0.18*rng.NormFloat64(), noise: 0.2 + 0.2*rng.Float64(),
			band: 0.08 + 0.12*rng.Float64(), forget: 0.2, lazy: 0.1,
		},
		air: make([]float64, seasonDays), yield: 0.1 * rng.NormFloat64(), pickers: 0.75 + 0.15*rng.Float64(),
	}
	for d := 1; d < seasonDays; d++ {
		f.air[d] = 0.92*f.air[d-1] + 0.45*rng.NormFloat64()
	}
	return f
}

// pace is how many days' growth a day brings at the farm's temperature.
func (f *farm) pace(day int) float64 {
	if day >= len(f.air) {
		return 1
	}
	return math.Max(0.6, 1+0.07*f.air[day])
}

// gamma is the part of a gamma hump of shape 2.5 that ripens by x days.
func gamma(x, scale float64) float64 {
	if x <= 0 {
		return 0
	}
	// The regularised lower incomplete gamma function by its series; Γ(2.5) is
	// ¾√π.
	const a = 2.5
	z := x / scale
	term := 1 / a
	sum := term
	for n := 1; n < 200; n++ {
		term *= z / (a + float64(n))
		sum += term
	}
	return math.Min(1, sum*math.Exp(-z+a*math.Log(z))/(0.75*math.Sqrt(math.Pi)))
}

// grow runs one crop filled on the given day of the season.
func (f *farm) grow(filled int) trueCrop { return f.growAs(filled, 1, 0) }

// growAs is grow for a farm that bears more than others by a factor, and some
// days of growth later.
func (f *farm) growAs(filled int, more, later float64) trueCrop {
	r := f.rng
	c := trueCrop{area: int64(1200 + r.IntN(1600)), cased: 15 + r.IntN(3)}
	const days = 70
	c.picked, c.recorded, c.pushed = make([]int64, days), make([]bool, days), make([]*guess, days)
	total := more * math.Exp(math.Log(20_500)+f.yield+0.16*r.NormFloat64()) * float64(c.area) / 10
	parts := []float64{0.44 * math.Exp(0.14*r.NormFloat64()), 0.33 * math.Exp(0.18*r.NormFloat64()), 0.20 * math.Exp(0.25*r.NormFloat64())}
	units := []float64{17.6 + later + 1.1*r.NormFloat64(), 8 + 0.8*r.NormFloat64(), 8.3 + 0.8*r.NormFloat64()}
	ripe := make([]float64, days)
	day := float64(c.cased)
	for k := range parts {
		for left := units[k]; left > 0; day += 0.05 {
			left -= 0.05 * f.pace(filled+int(day))
		}
		slow := 1 / f.pace(filled+int(day))
		second, late := 0.2+0.25*r.Float64(), 0.8+0.9*r.Float64()
		for d := int(day); d < days; d++ {
			ripened := func(x float64) float64 {
				x -= day
				return (1-second)*gamma(x, 0.62*slow) + second*gamma(x-late, 0.62*slow)
			}
			ripe[d] += total * parts[k] * (ripened(float64(d+1)) - ripened(float64(d)))
		}
		c.breaks = append(c.breaks, int(day))
	}
	f.pick(&c, ripe)
	return c
}

// pick takes what the pickers manage each day; the rest grows on.
func (f *farm) pick(c *trueCrop, ripe []float64) {
	r := f.rng
	var waiting, strain, yesterday float64
	for d := range c.picked {
		waiting += ripe[d]
		strain = 0.6*strain + 0.06*r.NormFloat64()
		part := math.Min(1, math.Max(0.3, f.pickers+strain))
		if d%7 == 6 {
			part *= 0.75
		}
		take := waiting * part
		if waiting < 0.002*float64(c.area)*1000 { // under 20 g a m²: not worth a round
			take = 0
		}
		f.guess(c, d, take, yesterday)
		c.picked[d] = int64(take * math.Exp(0.03*r.NormFloat64()))
		c.recorded[d] = r.Float64() > 0.1
		waiting = (waiting - take) * 1.12
		if waiting < 1000 {
			waiting = 0
		}
		yesterday = take
	}
}

// guess is what the grower pushes for day d the afternoon before.
func (f *farm) guess(c *trueCrop, d int, truth, yesterday float64) {
	r, g := f.rng, f.grower
	wobble := g.bias + g.noise*r.NormFloat64()
	lazy, forgets := r.Float64() < g.lazy, r.Float64() < g.forget
	if forgets || (truth == 0 && yesterday == 0) {
		return
	}
	likely := truth * math.Exp(wobble)
	if lazy {
		likely = yesterday * math.Exp(g.bias)
	}
	c.pushed[d] = &guess{int64(likely * (1 - g.band)), int64(likely), int64(likely * (1 + g.band))}
}

// finished is what a programme can learn from the crop's recorded picks.
func (c trueCrop) finished() []forecast.Finished {
	e := growth.Ended{
		AreaM2: int32(c.area / 10), Fill: 0, Free: day.Date(len(c.picked)),
		Steps: []growth.StepDate{{Step: growth.Casing, Start: day.Date(c.cased), Real: true}},
	}
	for d, g := range c.picked {
		for k := len(c.breaks) - 1; k >= 0 && c.recorded[d]; k-- {
			if d >= c.breaks[k] {
				e.Picks = append(e.Picks, growth.BreakPick{Day: day.Date(d), Break: k + 1, Grams: g})
				break
			}
		}
	}
	return e.Finished()
}
