package demand

import "math"

// The coarse grid that a fit searches before refining. Damping below 0.8 makes a
// trend vanish within weeks, which a level alone says more plainly.
var (
	alphas = []float64{0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9}
	betas  = []float64{0.05, 0.1, 0.2, 0.4}
	phis   = []float64{0.8, 0.9, 0.98}
	gammas = []float64{0.05, 0.1, 0.2, 0.4}
	none   = []float64{0}
)

// refinements halve the step of the search around the best grid point so often.
const refinements = 5

// fitLevel fits a level alone.
func fitLevel(y []float64) fitted {
	return search(y, plainStart(y), constants{}, alphas, none, none, none)
}

// fitDamped fits a level and a damped trend.
func fitDamped(y []float64) fitted {
	return search(y, plainStart(y), constants{}, alphas, betas, phis, none)
}

// fitSeason fits level, damped trend and season of m steps; y holds two seasons.
func fitSeason(y []float64, m int) fitted {
	return search(y, seasonStart(y, m), constants{period: m}, alphas, betas, phis, gammas)
}

// search takes the grid point with the smallest sum of squared errors, the first
// of equals, and then walks one constant at a time in ever smaller steps.
func search(y []float64, s start, base constants, as, bs, ps, gs []float64) fitted {
	best, least := base, math.Inf(1)
	season := make([]float64, len(s.season))
	try := func(c constants) bool {
		squares, ok := c.squaresBelow(least, y, s, season)
		if ok {
			best, least = c, squares
		}
		return ok
	}
	for _, a := range as {
		for _, b := range bs {
			for _, p := range ps {
				for _, g := range gs {
					c := base
					c.alpha, c.beta, c.phi, c.gamma = a, b, p, g
					try(c)
				}
			}
		}
	}
	step := 0.05
	for range refinements {
		for range 8 {
			if !walk(best, step, len(bs) > 1, len(gs) > 1, try) {
				break
			}
		}
		step /= 2
	}
	return best.run(y, s, nil)
}

// walk tries each free constant one step up and down; it reports whether any
// helped.
func walk(c constants, step float64, trend, season bool, try func(constants) bool) bool {
	better := false
	for _, d := range [2]float64{step, -step} {
		next := c
		next.alpha = within(c.alpha+d, 0.01, 0.99)
		better = try(next) || better
		if trend {
			next = c
			next.beta = within(c.beta+d, 0.01, 0.99)
			better = try(next) || better
			next = c
			next.phi = within(c.phi+d/2, 0.7, 0.995)
			better = try(next) || better
		}
		if season {
			next = c
			next.gamma = within(c.gamma+d, 0.01, 0.99)
			better = try(next) || better
		}
	}
	return better
}

func within(v, low, high float64) float64 { return max(low, min(v, high)) }
