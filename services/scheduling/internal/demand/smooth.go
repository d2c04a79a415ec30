package demand

import "math"

// constants of a smoother, each from 0 to 1. Period is the length of a season in
// steps; 0 means no season.
type constants struct {
	alpha, beta, phi, gamma float64
	period                  int
}

// start is where smoothing begins: the state before y[from].
type start struct {
	level, trend float64
	season       []float64
	from         int
}

// fitted is a smoother run through a series.
type fitted struct {
	constants
	level, trend float64
	season       []float64 // of the period's steps, by t modulo period
	length       int       // of the series
	// squares sums the squared errors one step ahead over the count known steps.
	squares float64
	count   int
}

// run smooths y from the given start. A NaN in y is a missing step. each, where
// not nil, is told after each step the forecast that was made of it and the
// level it left.
func (c constants) run(y []float64, s start, each func(t int, oneStep, level float64)) fitted {
	f := c.begin(y, s, make([]float64, len(s.season)))
	for t := s.from; t < len(y); t++ {
		forecast := f.step(t, y[t])
		if each != nil {
			each(t, forecast, f.level)
		}
	}
	return f
}

// begin is the state before the first step; season is the memory to use.
func (c constants) begin(y []float64, s start, season []float64) fitted {
	copy(season, s.season)
	return fitted{constants: c, level: s.level, trend: s.trend, season: season, length: len(y)}
}

// squaresBelow is the sum of squared errors of run; it gives up and returns ok
// false once the sum reaches limit. It allocates nothing: season is its memory.
func (c constants) squaresBelow(limit float64, y []float64, s start, season []float64) (squares float64, ok bool) {
	f := c.begin(y, s, season)
	for t := s.from; t < len(y); t++ {
		f.step(t, y[t])
		if f.squares >= limit {
			return f.squares, false
		}
	}
	return f.squares, true
}

// step takes in the value of step t and returns the forecast made of it.
func (f *fitted) step(t int, y float64) float64 {
	drift := f.level + f.phi*f.trend
	season := f.seasonAt(t)
	forecast := drift + season
	if math.IsNaN(y) {
		f.level, f.trend = drift, f.phi*f.trend
		return forecast
	}
	e := y - forecast
	f.squares += e * e
	f.count++
	level := f.alpha*(y-season) + (1-f.alpha)*drift
	f.trend = f.beta*(level-f.level) + (1-f.beta)*f.phi*f.trend
	f.level = level
	if f.period > 0 {
		f.season[t%f.period] = f.gamma*(y-level) + (1-f.gamma)*season
	}
	return forecast
}

func (f *fitted) seasonAt(t int) float64 {
	if f.period == 0 {
		return 0
	}
	return f.season[t%f.period]
}

// ahead forecasts the h steps after the series.
func (f *fitted) ahead(h int) []float64 {
	out := make([]float64, h)
	damp, sum := 1.0, 0.0
	for k := range out {
		damp *= f.phi
		sum += damp
		out[k] = f.level + sum*f.trend + f.seasonAt(f.length+k)
	}
	return out
}

// firstTrend is the mean change per step between the first two seasons (NIST
// e-Handbook 6.4.3.5): the mean of (y[m+i]-y[i])/m. Pairs with a missing value
// are left out; 0 where none is whole.
func firstTrend(y []float64, m int) float64 {
	sum, n := 0.0, 0
	for i := 0; i < m && m+i < len(y); i++ {
		if d := y[m+i] - y[i]; !math.IsNaN(d) {
			sum += d / float64(m)
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

// plainStart begins at the first value, without trend or season.
func plainStart(y []float64) start { return start{level: y[0], from: 1} }

// seasonStart begins before the first value with the trend between the first two
// seasons and the mean deviation of each step of the season from its own year's
// mean. y must hold two seasons.
func seasonStart(y []float64, m int) start {
	s := start{trend: firstTrend(y, m), season: make([]float64, m)}
	counts := make([]int, m)
	for year := 0; (year+1)*m <= len(y); year++ {
		values := y[year*m : (year+1)*m]
		mean := mean(values)
		if year == 0 {
			s.level = mean - s.trend*float64(m+1)/2
		}
		for i, v := range values {
			// The trend within the year is not season.
			if d := v - mean - s.trend*(float64(i)-float64(m-1)/2); !math.IsNaN(d) {
				s.season[i] += d
				counts[i]++
			}
		}
	}
	for i, n := range counts {
		if n > 0 {
			s.season[i] /= float64(n)
		}
	}
	return s
}

// mean of the values that are known; 0 where none is.
func mean(y []float64) float64 {
	sum, n := 0.0, 0
	for _, v := range y {
		if !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}
