package demand

import "math"

// meanAhead forecasts the mean of the history.
func meanAhead(y []float64, h int) []float64 { return constant(mean(y), h) }

// naiveAhead forecasts the last known value.
func naiveAhead(y []float64, h int) []float64 {
	for i := len(y) - 1; i >= 0; i-- {
		if !math.IsNaN(y[i]) {
			return constant(y[i], h)
		}
	}
	return constant(0, h)
}

// seasonalAhead forecasts the value one season before, or whole seasons before
// that where it is missing; where none is known, the last known value.
func seasonalAhead(y []float64, m, h int) []float64 {
	out := naiveAhead(y, h)
	for k := range out {
		for i := len(y) + k - m; i >= 0; i -= m {
			if i < len(y) && !math.IsNaN(y[i]) {
				out[k] = y[i]
				break
			}
		}
	}
	return out
}

func constant(v float64, h int) []float64 {
	out := make([]float64, h)
	for i := range out {
		out[i] = v
	}
	return out
}
