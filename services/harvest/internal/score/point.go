package score

import (
	"fmt"
	"math"
)

// LengthError says that two series that are compared day by day are not
// equally long, or are empty.
type LengthError struct{ Forecasts, Actuals int }

func (e *LengthError) Error() string {
	return fmt.Sprintf("score: %d forecasts cannot be compared with %d actual values; give one for each, and at least one", e.Forecasts, e.Actuals)
}

// ScaleError says that a series is too short, or never changes, so that no
// seasonal naive error can scale another.
type ScaleError struct{ Length, Season int }

func (e *ScaleError) Error() string {
	return fmt.Sprintf("score: a series of %d values has no seasonal naive error at a season of %d; give more than one season that is not constant", e.Length, e.Season)
}

// Errors are the classic figures of a series of point forecasts. All are in the
// unit of the data, MAPE in percent.
type Errors struct {
	N    int
	Bias float64 // mean of forecast − actual: above 0 means promised too much
	MAE  float64
	RMSE float64
	MAPE float64 // over the values that are not 0; NaN when all are
}

// Points compares forecasts with actual values pairwise. It refuses with a
// *LengthError.
func Points(forecasts, actuals []float64) (Errors, error) {
	if len(forecasts) != len(actuals) || len(actuals) == 0 {
		return Errors{}, &LengthError{len(forecasts), len(actuals)}
	}
	e := Errors{N: len(actuals)}
	n := float64(e.N)
	var relative, nonzero float64
	for i, f := range forecasts {
		miss := f - actuals[i]
		e.Bias += miss / n
		e.MAE += math.Abs(miss) / n
		e.RMSE += miss * miss / n
		if actuals[i] != 0 {
			relative += math.Abs(miss / actuals[i])
			nonzero++
		}
	}
	e.RMSE = math.Sqrt(e.RMSE)
	e.MAPE = 100 * relative / nonzero
	return e, nil
}

// Scale is the in-sample mean absolute error of the seasonal naive figure, by
// which MASE divides: mean of |y_t − y_{t−season}|. It refuses with a
// *ScaleError.
func Scale(train []float64, season int) (float64, error) {
	if season < 1 || len(train) <= season {
		return 0, &ScaleError{len(train), season}
	}
	var sum float64
	for t := season; t < len(train); t++ {
		sum += math.Abs(train[t] - train[t-season])
	}
	if sum == 0 {
		return 0, &ScaleError{len(train), season}
	}
	return sum / float64(len(train)-season), nil
}

// MASE is the mean absolute scaled error: below 1 the forecasts beat what the
// seasonal naive figure did in train. It refuses with a *LengthError or a
// *ScaleError.
func MASE(forecasts, actuals, train []float64, season int) (float64, error) {
	e, err := Points(forecasts, actuals)
	if err != nil {
		return 0, err
	}
	scale, err := Scale(train, season)
	if err != nil {
		return 0, err
	}
	return e.MAE / scale, nil
}

// SeasonalNaive repeats the last season of train for horizon steps. It refuses
// with a *ScaleError when train is shorter than a season.
func SeasonalNaive(train []float64, season, horizon int) ([]float64, error) {
	if season < 1 || len(train) < season {
		return nil, &ScaleError{len(train), season}
	}
	out := make([]float64, max(0, horizon))
	for h := range out {
		out[h] = train[len(train)-season+h%season]
	}
	return out, nil
}
