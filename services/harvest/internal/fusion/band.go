package fusion

import (
	"fmt"
	"math"
)

// z90 is the standard normal quantile of 90 %.
const z90 = 1.2815515655446004

// Band is a figure for a day in grams: it stays above Low and below High nine
// times out of ten each.
type Band struct{ Low, Likely, High int64 }

// BandError refuses a band that falls or goes below 0.
type BandError struct {
	Whose string // "push", "forecast" or "past"
	Band  Band
}

func (e *BandError) Error() string {
	return fmt.Sprintf("fusion: %s says low %d, likely %d, high %d g; give 0 ≤ low ≤ likely ≤ high", e.Whose, e.Band.Low, e.Band.Likely, e.Band.High)
}

// FloorError refuses a floor that is not above 0.
type FloorError struct{ Floor int64 }

func (e *FloorError) Error() string {
	return fmt.Sprintf("fusion: the floor must be at least 1 g, not %d", e.Floor)
}

func (b Band) check(whose string) error {
	if b.Low < 0 || b.Low > b.Likely || b.Likely > b.High {
		return &BandError{whose, b}
	}
	return nil
}

// minSpread is the least standard deviation, on the log scale, that a band is
// taken to claim: nobody knows tomorrow's pick to better than 5 %.
const minSpread = 0.05

// maxGrams is more than any room bears; a spread that leads beyond it is cut.
const maxGrams = 1e12

// normal is a band on the scale log(grams + c).
type normal struct{ mean, sd float64 }

func (b Band) normal(floor int64) normal {
	x := func(g int64) float64 { return math.Log(float64(g + floor)) }
	return normal{x(b.Likely), max(minSpread, (x(b.High)-x(b.Low))/(2*z90))}
}

// quantile returns the grams below which the value stays with the probability
// whose standard normal quantile is z.
func (n normal) quantile(z float64, floor int64) int64 {
	return max(0, int64(math.Round(min(maxGrams, math.Exp(n.mean+z*n.sd))))-floor)
}

func (n normal) band(floor int64) Band {
	return Band{n.quantile(-z90, floor), n.quantile(0, floor), n.quantile(z90, floor)}
}

// Combine weighs two independent or correlated estimates of the same value by
// the formulas of the package comment and returns the combined mean and
// standard deviation, and the weight of the first. Standard deviations must be
// above 0; rho is the correlation of the two errors.
func Combine(mean1, sd1, mean2, sd2, rho float64) (mean, sd, weight1 float64) {
	cross := rho * sd1 * sd2
	total := sd1*sd1 + sd2*sd2 - 2*cross
	weight1 = (sd2*sd2 - cross) / total
	switch { // the better of the two alone, when the other could only be used negatively
	case weight1 >= 1:
		return mean1, sd1, 1
	case weight1 <= 0:
		return mean2, sd2, 0
	}
	variance := sd1 * sd1 * sd2 * sd2 * (1 - rho*rho) / total
	return weight1*mean1 + (1-weight1)*mean2, math.Sqrt(variance), weight1
}
