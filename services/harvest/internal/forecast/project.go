package forecast

import "math"

// project runs members of the posterior forward and reads off the answer.
func (m *Model) project(e *ensemble, c Crop, from, days int) *Forecast {
	n := m.settings.Members
	f := &Forecast{From: from, members: n, days: days, grams: make([]int64, n*days), bearing: make([]int, days*maxBreaks)}
	f.breaks = make([]breakMembers, len(m.shareLog))
	for k := range f.breaks {
		f.breaks[k] = breakMembers{start: make([]float32, 0, n), end: make([]float32, 0, n), grams: make([]int64, 0, n)}
	}
	horizon := from + days
	if c.LastDay != nil {
		horizon = min(horizon, *c.LastDay+1)
	}
	for i, index := range e.draw(n) {
		p := e.particles[index]
		m.run(f, e, &p, i, horizon, c.LastDay)
	}
	f.read()
	return f
}

// run adds one member's future to f: the rest of the break in focus, then the
// breaks to come.
func (m *Model) run(f *Forecast, e *ensemble, p *particle, member, horizon int, last *int) {
	for p.k < len(m.shareLog) && p.start+p.span <= float64(f.From) {
		m.next(p, e.rng)
	}
	for first := true; p.k < len(m.shareLog); first = false {
		a := p.meanA
		if first {
			a = p.drawSizes(e.rng.NormFloat64(), e.rng.NormFloat64())
		} else {
			a += math.Sqrt(m.breakVar) * e.rng.NormFloat64()
		}
		size := math.Exp(a)
		ends := horizon
		if end := int(math.Ceil(p.start + p.span)); end < ends {
			ends = end
		}
		for day := max(f.From, int(math.Floor(p.start))); day < ends; day++ {
			ready := size * dayShare(day, p.start, p.span)
			f.bearing[(day-f.From)*maxBreaks+p.k]++
			level := int(ready/(ready+e.floor)*(noiseLevels-1) + 0.5)
			noise := m.rough[level][e.rng.Uint64()%noiseDraws]
			grams := (ready+e.floor)*noise - e.floor
			if grams > 0 {
				f.grams[(day-f.From)*f.members+member] += int64(grams + 0.5)
			}
		}
		until := 1.0
		if last != nil {
			until = cumulative((float64(*last+1) - p.start) / p.span)
		}
		done := cumulative((float64(f.From) - p.start) / p.span)
		if until > done {
			b := &f.breaks[p.k]
			b.start = append(b.start, float32(p.start))
			b.end = append(b.end, float32(p.start+p.span))
			b.grams = append(b.grams, int64(size*(until-done)+0.5))
		}
		m.next(p, e.rng)
	}
}

// drawSizes fixes log Y and log A_k of a member: it returns log A_k and leaves
// log Y certain, so that the breaks to come share it.
func (p *particle) drawSizes(z1, z2 float64) float64 {
	a := p.meanA + math.Sqrt(max(0, p.varA))*z1
	if p.varA > 0 {
		p.meanY += p.cov / p.varA * (a - p.meanA)
		p.meanY += math.Sqrt(max(0, p.varY-p.cov*p.cov/p.varA)) * z2
	}
	p.varY = 0
	return a
}
