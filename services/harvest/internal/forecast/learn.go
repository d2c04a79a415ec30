package forecast

import (
	"math"
	"slices"
)

// Finished is a crop that has ended, as far as a programme can learn from it.
type Finished struct {
	AreaTenthM2 int64
	From        Stage   // the stage the lag counts from
	LagDays     int     // from that stage to the first pick
	BreakGrams  []int64 // of each break that was picked
}

// The prior of a programme's figure weighs as much as priorCrops finished
// crops for its mean and spreadCrops for its spread: enough that on
// simulated farms that hardly differ from the programme nothing is lost by
// learning, beside chance.
const (
	priorCrops  = 6.0
	spreadCrops = 6.0
)

// Learn corrects a programme by the co-op's finished crops: first pick, shares
// and yield move from the programme's figure x̂ (spread σ̂) towards the mean x̄ of
// the n crops by the conjugate normal update
//
//	x' = (n₀ x̂ + n x̄)/(n₀ + n)
//	σ'² = (ν₀ σ̂² + Σ(x − x̄)² + n₀ n/(n₀ + n) (x̄ − x̂)²)/(ν₀ + n) · (1 + 1/(n₀ + n))/(1 + 1/n₀)
//
// (normal–inverse-χ² with n₀ = 6, ν₀ = 6; Gelman et al., Bayesian Data Analysis,
// §3.3, from memory). Yield and shares are learned as logarithms. A crop counts
// for a break only if it was picked. Figures of stages and breaks that no crop
// tells of stay as they are. So does the interval: where a break is written down
// to begin rests on the eye of the picker, since the one before is still being
// picked, and on simulated seasons forecasts with learned intervals were the
// worse for it.
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
		p.FirstPick[i].Days = l.Days.learn(lags)
	}
	var yields []float64
	shares := make([][]float64, len(p.Shares))
	for _, c := range crops {
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
	p.Yield = p.Yield.learnLog(yields)
	for k := range p.Shares {
		p.Shares[k] = p.Shares[k].learnLog(shares[k]).upTo(100)
	}
	return p
}

// learn applies the update of Learn to a figure on its own scale, which cannot
// be below 0.
func (r Range) learn(xs []float64) Range {
	if len(xs) == 0 {
		return r
	}
	mean, sd := posterior(r.Likely, (r.High-r.Low)/(2*z95), xs)
	return Range{max(0, mean-z95*sd), max(0, mean), mean + z95*sd, Learned, r.Source}
}

// learnLog applies it to a figure's logarithm.
func (r Range) learnLog(xs []float64) Range {
	if len(xs) == 0 {
		return r
	}
	mean, sd := posterior(math.Log(r.Likely), r.logSD(), xs)
	return Range{math.Exp(mean - z95*sd), math.Exp(mean), math.Exp(mean + z95*sd), Learned, r.Source}
}

// upTo cuts a figure off at what is possible.
func (r Range) upTo(most float64) Range {
	r.Low, r.Likely, r.High = min(r.Low, most), min(r.Likely, most), min(r.High, most)
	return r
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
