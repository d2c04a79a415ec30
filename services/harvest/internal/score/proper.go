package score

import (
	"math"
	"slices"
)

// Pinball is the loss of saying that the value stays below quantile with
// probability p: p·(y − q) when it does not, (1 − p)·(q − y) when it does.
func Pinball(quantile, actual, p float64) float64 {
	if actual >= quantile {
		return p * (actual - quantile)
	}
	return (1 - p) * (quantile - actual)
}

// CRPSNormal is the continuous ranked probability score of a normal
// distribution: σ(z(2Φ(z) − 1) + 2φ(z) − 1/√π) with z = (y − μ)/σ. With σ = 0 it
// is the absolute error.
func CRPSNormal(mean, sd, actual float64) float64 {
	if sd <= 0 {
		return math.Abs(actual - mean)
	}
	z := (actual - mean) / sd
	density := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
	return sd * (z*math.Erf(z/math.Sqrt2) + 2*density - 1/math.Sqrt(math.Pi))
}

// CRPSEnsemble is the score of an ensemble whose members count alike:
// mean|x − y| − ½ mean|x − x′|. An empty ensemble scores NaN.
func CRPSEnsemble(members []float64, actual float64) float64 {
	sorted := slices.Clone(members)
	slices.Sort(sorted)
	n := float64(len(sorted))
	var miss, pairs float64
	for i, x := range sorted {
		miss += math.Abs(x - actual)
		// Sum over pairs |x − x′| from order statistics.
		pairs += x * float64(2*i-len(sorted)+1)
	}
	return miss/n - pairs/(n*n)
}

// CRPSQuantiles approximates the score from quantiles at the given
// probabilities, rising: twice the pinball loss integrated over p, by the
// trapezium rule between the probabilities and constant beyond the outermost.
// Empty input scores NaN.
func CRPSQuantiles(probabilities, quantiles []float64, actual float64) float64 {
	n := len(probabilities)
	if n == 0 || n != len(quantiles) {
		return math.NaN()
	}
	loss := func(i int) float64 { return Pinball(quantiles[i], actual, probabilities[i]) }
	sum := loss(0)*probabilities[0] + loss(n-1)*(1-probabilities[n-1])
	for i := 1; i < n; i++ {
		sum += (loss(i-1) + loss(i)) / 2 * (probabilities[i] - probabilities[i-1])
	}
	return 2 * sum
}

// Interval is the interval score of a central band that is meant to hold the
// value with probability 1 − alpha: (high − low) + 2/alpha × how far the value
// lies outside.
func Interval(low, high, actual, alpha float64) float64 {
	return high - low + 2/alpha*(max(0, low-actual)+max(0, actual-high))
}
