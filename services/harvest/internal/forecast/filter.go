package forecast

import (
	"math"
	"math/rand/v2"
)

// seedConstant is the fixed half of every crop's random stream.
const seedConstant = 0x627265616b

// tailWeight is the degrees of freedom of the Student-t by which a pick weighs
// a timing: low enough that one odd day does not decide.
const tailWeight = 5.0

const (
	startJitter = 0.20 // days, standard deviation added to a copied break start
	widthJitter = 0.05 // part of the width, likewise
)

// particle is one hypothesis of a crop's timing, with the Gaussian posterior
// of its sizes given that timing.
type particle struct {
	pace         float64 // u of the package comment
	k            int     // break in focus, from 0; len(Shares) when all are over
	start, span  float64 // of break k, days
	meanY, meanA float64 // of log Y and log A_k, grams
	varY, varA   float64
	cov          float64
	weight       float64
}

// ensemble is the posterior after all picks.
type ensemble struct {
	particles []particle
	spare     []particle // the other half of the pair that resampling swaps
	drawn     []int
	rng       *rand.Rand
	floor     float64
	areaM2    float64
}

// begin draws the timings before any pick.
func (m *Model) begin(c Crop) *ensemble {
	e := &ensemble{
		particles: make([]particle, m.settings.Particles),
		spare:     make([]particle, m.settings.Particles),
		drawn:     make([]int, 0, max(m.settings.Particles, m.settings.Members)),
		rng:       rand.New(rand.NewPCG(c.Seed, seedConstant)),
		areaM2:    float64(c.AreaTenthM2) / 10,
	}
	e.floor = m.floor(e.areaM2)
	anchor, lag, _ := m.profile.lagFrom(c.Stages)
	order := e.rng.Perm(m.settings.Particles)
	for i := range e.particles {
		p := &e.particles[i]
		p.pace = e.rng.NormFloat64()
		p.start = float64(anchor.Day) + lag.at(m.strata[order[i]])
		p.span = shapeSpan * max(0.5, m.profile.Width.at(e.rng.NormFloat64()))
		p.meanY = m.yieldLog + math.Log(e.areaM2)
		p.varY = m.yieldVar
		p.weight = 1 / float64(m.settings.Particles)
		m.size(p)
	}
	return e
}

// size sets the prior of log A_k from the posterior of log Y.
func (m *Model) size(p *particle) {
	p.meanA = p.meanY + m.shareLog[p.k]
	p.varA = p.varY + m.breakVar
	p.cov = p.varY
}

// next moves the particle's focus to the following break.
func (m *Model) next(p *particle, rng *rand.Rand) {
	p.k++
	if p.k >= len(m.shareLog) {
		return
	}
	rho := m.settings.Persistence
	z := math.Sqrt(rho)*p.pace + math.Sqrt(1-rho)*rng.NormFloat64()
	p.start += max(1, m.profile.Interval.at(z))
	p.span = shapeSpan * max(0.5, m.profile.Width.at(rng.NormFloat64()))
	m.size(p)
}

// filter carries the ensemble through the picks, oldest first.
func (m *Model) filter(c Crop, picks []Pick) *ensemble {
	e := m.begin(c)
	for _, pick := range picks {
		m.weigh(e, pick)
		e.settle()
	}
	return e
}

// weigh multiplies each particle's weight by the likelihood of the pick and
// updates its sizes.
func (m *Model) weigh(e *ensemble, pick Pick) {
	observed := math.Log(float64(pick.Grams) + e.floor)
	idle := math.Log(e.floor)
	for i := range e.particles {
		p := &e.particles[i]
		for p.k < len(m.shareLog) && p.start+p.span <= float64(pick.Day) {
			m.next(p, e.rng)
		}
		var share float64
		if p.k < len(m.shareLog) {
			share = dayShare(pick.Day, p.start, p.span)
		}
		if share == 0 {
			base := m.settings.BaseNoise
			p.weight *= likelihood(observed-idle, base*base, pick.Open)
			continue
		}
		ready := math.Exp(p.meanA) * share
		slope := ready / (ready + e.floor)
		noise := m.noiseVar(slope)
		miss := observed - math.Log(ready+e.floor)
		spread := slope*slope*p.varA + noise
		p.weight *= likelihood(miss, spread, pick.Open)
		if !pick.Open || miss > 0 {
			p.learn(miss, slope, spread)
		}
	}
}

// learn is the Kalman update of (log Y, log A_k). A miss of more than two
// standard deviations counts as if its noise had been larger, in step with the
// heavy tail of its weight.
func (p *particle) learn(miss, slope, spread float64) {
	if odd := miss * miss / spread; odd > 4 {
		spread *= odd / 4
	}
	gainA, gainY := p.varA*slope/spread, p.cov*slope/spread
	p.meanA += gainA * miss
	p.meanY += gainY * miss
	p.varY -= gainY * slope * p.cov
	p.cov -= gainA * slope * p.cov
	p.varA -= gainA * slope * p.varA
}

// likelihood weighs a miss. While a day is open, less than was to be expected
// counts against nobody: more may come.
func likelihood(miss, scale2 float64, open bool) float64 {
	if !open {
		return studentT(miss, scale2)
	}
	miss = max(0, miss)
	return studentT(miss, scale2) / studentT(0, scale2)
}

// studentT is the density of a miss with the given squared scale, up to a
// constant, with tailWeight degrees of freedom.
func studentT(miss, scale2 float64) float64 {
	x := 1 + miss*miss/(tailWeight*scale2)
	return 1 / (x * x * x * math.Sqrt(scale2)) // exponent (5 + 1)/2
}

// settle scales the weights to add up to 1 and resamples when fewer than half
// of the particles carry the weight.
func (e *ensemble) settle() {
	var sum float64
	for i := range e.particles {
		sum += e.particles[i].weight
	}
	n := float64(len(e.particles))
	var squares float64
	for i := range e.particles {
		w := e.particles[i].weight / sum
		e.particles[i].weight = w
		squares += w * w
	}
	if squares*n < 2 {
		return
	}
	last := -1
	for to, from := range e.draw(len(e.particles)) {
		p := &e.spare[to]
		*p = e.particles[from]
		if from == last {
			p.start += startJitter * e.rng.NormFloat64()
			p.span *= 1 + widthJitter*e.rng.NormFloat64()
		}
		p.weight = 1 / n
		last = from
	}
	e.particles, e.spare = e.spare, e.particles
}

// draw returns count indices of particles by systematic resampling: each comes
// up as often as its weight says, to within one. The next draw overwrites them.
func (e *ensemble) draw(count int) []int {
	out := e.drawn[:0]
	step := 1 / float64(count)
	next := e.rng.Float64() * step
	var sum float64
	for i := range e.particles {
		sum += e.particles[i].weight
		for next < sum && len(out) < count {
			out = append(out, i)
			next += step
		}
	}
	for len(out) < count { // the weights' sum fell short of 1 by rounding
		out = append(out, len(e.particles)-1)
	}
	return out
}
