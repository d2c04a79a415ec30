package forecast

import (
	"math"
	"slices"
)

// Finished is a crop that has ended, as far as a programme can learn from it.
type Finished struct {
	AreaTenthM2 int64
	From        Stage // the stage the lag counts from
	LagDays     int   // from that stage to the first pick
	BreakStarts []int // day of the first pick of each break that was picked
	BreakGrams  []int64
}

// The prior of a programme's figure weighs as much as priorCrops finished
// crops for its mean and spreadCrops for its spread.
const (
	priorCrops  = 3.0
	spreadCrops = 6.0
)

// Learn corrects a programme by the co-op's finished crops: first pick,
// interval, shares and yield move from the programme's figure x̂ (spread σ̂)
// towards the mean x̄ of the n crops by the conjugate normal update
//
//	x' = (n₀ x̂ + n x̄)/(n₀ + n)
//	σ'² = (ν₀ σ̂² + Σ(x − x̄)² + n₀ n/(n₀ + n) (x̄ − x̂)²)/(ν₀ + n) · (1 + 1/(n₀ + n))/(1 + 1/n₀)
//
// (normal–inverse-χ² with n₀ = 3, ν₀ = 6; Gelman et al., Bayesian Data Analysis,
// §3.3, from memory). Yield and shares are learned as logarithms. A crop counts
// for a break only if it was picked. Figures of stages and breaks that no crop
// tells of stay as they are.
func (p Profile) Learn(crops []Finished) Profile {
	p.FirstPick = slices.Clone(p.FirstPick)
	p.Shares = slices.Clone(p.Shares)
	for i, l := range p.FirstPick {
		var lags []float64
		for _, c := range crops {
			if c.From == l.From && c.LagDays >= 0 {
				lags = append(lags, float64(c.LagDays))
			}
		}
		p.FirstPick[i].Days = l.Days.learn(lags, 0)
	}
	var gaps, yields []float64
	shares := make([][]float64, len(p.Shares))
	for _, c := range crops {
		for i := 1; i < len(c.BreakStarts); i++ {
			if gap := c.BreakStarts[i] - c.BreakStarts[i-1]; gap > 0 {
				gaps = append(gaps, float64(gap))
			}
		}
		var total int64
		for _, g := range c.BreakGrams {
			total += max(0, g)
		}
		// A crop ended early says nothing of the whole yield.
		if c.AreaTenthM2 <= 0 || total == 0 || len(c.BreakGrams) < len(p.Shares) {
			continue
		}
		yields = append(yields, math.Log(float64(total)*10/float64(c.AreaTenthM2)))
		for k := range shares {
			if c.BreakGrams[k] > 0 {
				shares[k] = append(shares[k], math.Log(100*float64(c.BreakGrams[k])/float64(total)))
			}
		}
	}
	p.Interval = p.Interval.learn(gaps, 1)
	p.Yield = p.Yield.learnLog(yields)
	for k := range p.Shares {
		p.Shares[k] = p.Shares[k].learnLog(shares[k])
	}
	return p
}

// learn applies the update of Learn to a figure on its own scale, which cannot
// be below least.
func (r Range) learn(xs []float64, least float64) Range {
	if len(xs) == 0 {
		return r
	}
	mean, sd := posterior(r.Likely, (r.High-r.Low)/(2*z95), xs)
	return Range{max(least, mean-z95*sd), max(least, mean), mean + z95*sd, Learned, r.Source}
}

// learnLog applies it to a figure's logarithm.
func (r Range) learnLog(xs []float64) Range {
	if len(xs) == 0 {
		return r
	}
	mean, sd := posterior(math.Log(r.Likely), r.logSD(), xs)
	return Range{math.Exp(mean - z95*sd), math.Exp(mean), math.Exp(mean + z95*sd), Learned, r.Source}
}

func posterior(prior, sd float64, xs []float64) (mean, spread float64) {
	n := float64(len(xs))
	var bar, squares float64
	for _, x := range xs {
		bar += x / n
	}
	for _, x := range xs {
		squares += (x - bar) * (x - bar)
	}
	mean = (priorCrops*prior + n*bar) / (priorCrops + n)
	squares += priorCrops * n / (priorCrops + n) * (bar - prior) * (bar - prior)
	variance := (spreadCrops*sd*sd + squares) / (spreadCrops + n)
	variance *= (1 + 1/(priorCrops+n)) / (1 + 1/priorCrops)
	return mean, math.Sqrt(variance)
}
