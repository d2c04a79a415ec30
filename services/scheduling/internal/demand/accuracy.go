package demand

import "math"

// Accuracy sums up the errors of forecasts.
type Accuracy struct {
	// Forecasts is how many were compared with what came.
	Forecasts int
	// RootMeanSquare and MeanAbsolute error, in grams.
	RootMeanSquare, MeanAbsolute float64
	// MeanPercent is the mean absolute percentage error over the weeks with any
	// demand, 8.3 meaning 8.3 %; 0 where no week had any.
	MeanPercent float64
	// MeanScaled is the mean absolute error over that of the seasonal naive
	// forecast within the training weeks (MASE, Hyndman and Koehler 2006); 0
	// where the training weeks never changed.
	MeanScaled float64
}

// tally gathers errors one by one.
type tally struct {
	n, nonzero               int
	squares, absolute, share float64
}

func (t *tally) add(actual, forecast float64) {
	if math.IsNaN(actual) {
		return
	}
	e := math.Abs(actual - forecast)
	t.n++
	t.squares += e * e
	t.absolute += e
	if actual != 0 {
		t.nonzero++
		t.share += e / math.Abs(actual)
	}
}

func (t *tally) accuracy(scale float64) Accuracy {
	a := Accuracy{Forecasts: t.n}
	if t.n == 0 {
		return a
	}
	a.RootMeanSquare = math.Sqrt(t.squares / float64(t.n))
	a.MeanAbsolute = t.absolute / float64(t.n)
	if t.nonzero > 0 {
		a.MeanPercent = 100 * t.share / float64(t.nonzero)
	}
	if scale > 0 {
		a.MeanScaled = a.MeanAbsolute / scale
	}
	return a
}

// naiveScale is the mean absolute change over m steps within y; over one step
// where y is no longer than m. 0 where nothing can be compared.
func naiveScale(y []float64, m int) float64 {
	if len(y) <= m {
		m = 1
	}
	sum, n := 0.0, 0
	for t := m; t < len(y); t++ {
		if d := math.Abs(y[t] - y[t-m]); !math.IsNaN(d) {
			sum += d
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}
