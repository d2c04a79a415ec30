package score_test

import (
	"math"
	"testing"

	"breakshare.example/services/harvest/internal/score"
)

func near(t *testing.T, name string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %v, want %v ± %v", name, got, want, within)
	}
}

// beerTrain and beerTest are Australian quarterly beer production, 1992 Q1 to
// 2007 Q4 and 2008 Q1 to 2010 Q2, as Hyndman and Athanasopoulos use it in
// Forecasting: Principles and Practice, 2nd ed., §3.4 (data from memory; it
// reproduces every published figure).
var beerTrain = []float64{
	443, 410, 420, 532, 433, 421, 410, 512, 449, 381, 423, 531, 426, 408, 416, 520,
	409, 398, 398, 507, 432, 398, 406, 526, 428, 397, 403, 517, 435, 383, 424, 521,
	421, 402, 414, 500, 451, 380, 416, 492, 428, 408, 406, 506, 435, 380, 421, 490,
	435, 390, 412, 454, 416, 403, 408, 482, 438, 386, 405, 491, 427, 383, 394, 473,
}

var beerTest = []float64{420, 390, 410, 488, 415, 398, 419, 488, 414, 374}

// printed is half a unit of the second decimal, which the tables print.
const printed = 0.00501

func TestBeerAccuracyTable(t *testing.T) {
	t.Parallel()
	var mean float64
	for _, y := range beerTrain {
		mean += y / float64(len(beerTrain))
	}
	flat := func(v float64) []float64 {
		out := make([]float64, len(beerTest))
		for i := range out {
			out[i] = v
		}
		return out
	}
	seasonal, err := score.SeasonalNaive(beerTrain, 4, len(beerTest))
	if err != nil {
		t.Fatalf("SeasonalNaive: %v", err)
	}
	for _, c := range []struct {
		method                 string
		forecasts              []float64
		rmse, mae, mape, scale float64
	}{
		{"mean", flat(mean), 38.45, 34.83, 8.28, 2.44},
		{"naive", flat(beerTrain[len(beerTrain)-1]), 62.69, 57.40, 14.18, 4.01},
		{"seasonal naive", seasonal, 14.31, 13.40, 3.17, 0.94},
	} {
		e, err := score.Points(c.forecasts, beerTest)
		if err != nil {
			t.Fatalf("%s: %v", c.method, err)
		}
		mase, err := score.MASE(c.forecasts, beerTest, beerTrain, 4)
		if err != nil {
			t.Fatalf("%s: %v", c.method, err)
		}
		near(t, c.method+" RMSE", e.RMSE, c.rmse, printed)
		near(t, c.method+" MAE", e.MAE, c.mae, printed)
		near(t, c.method+" MAPE", e.MAPE, c.mape, printed)
		near(t, c.method+" MASE", mase, c.scale, printed)
	}
	q, err := score.Scale(beerTrain, 4)
	if err != nil {
		t.Fatalf("Scale: %v", err)
	}
	near(t, "scale", q, 14.3, printed)
	near(t, "mean", mean, 435.375, 1e-9)
}

// Hyndman and Koehler 2006; the figures are those of the documentation of the
// evaluate library's MASE metric.
func TestMASEExample(t *testing.T) {
	t.Parallel()
	train := []float64{5, 0.5, 4, 6, 3, 5, 2}
	got, err := score.MASE([]float64{2.5, 0, 2, 8}, []float64{3, -0.5, 2, 7}, train, 1)
	if err != nil {
		t.Fatalf("MASE: %v", err)
	}
	near(t, "MASE", got, 0.166667, 1e-6)
	// One more value, 2 against a forecast of 1.25.
	got, err = score.MASE([]float64{2.5, 0, 2, 8, 1.25}, []float64{3, -0.5, 2, 7, 2}, train, 1)
	if err != nil {
		t.Fatalf("MASE: %v", err)
	}
	near(t, "MASE", got, 0.183333, 1e-6)
}

// Example of scikit-learn's documentation of mean_pinball_loss.
func TestPinballExample(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		quantiles []float64
		p, want   float64
	}{
		{[]float64{0, 2, 3}, 0.1, 0.033333}, {[]float64{1, 2, 4}, 0.1, 0.3},
		{[]float64{0, 2, 3}, 0.9, 0.3}, {[]float64{1, 2, 4}, 0.9, 0.033333}, {[]float64{1, 2, 3}, 0.4, 0},
	} {
		var got float64
		for i, y := range []float64{1, 2, 3} {
			got += score.Pinball(c.quantiles[i], y, c.p) / 3
		}
		near(t, "pinball", got, c.want, 1e-6)
	}
}

// Closed form of Gneiting and Raftery 2007, computed to seven digits by an
// independent program; the ensemble rows follow from its definition by hand.
func TestCRPSExamples(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ mean, sd, y, want float64 }{
		{0, 1, 0, 0.2336950}, {0, 1, 1, 0.6024414}, {0, 1, 2, 1.4527918}, {0, 2, 0, 0.4673900}, {10, 3, 14, 2.5618019}, {5, 0, 3, 2},
	} {
		near(t, "CRPS of a normal", score.CRPSNormal(c.mean, c.sd, c.y), c.want, 1e-6)
	}
	near(t, "CRPS of four", score.CRPSEnsemble([]float64{4, 1, 3, 2}, 2.5), 0.375, 1e-12)
	near(t, "CRPS of two", score.CRPSEnsemble([]float64{0, 1}, 0.5), 0.25, 1e-12)
	near(t, "CRPS of one", score.CRPSEnsemble([]float64{0}, 3), 3, 1e-12)
}

// Gneiting and Raftery 2007: band [1, 3] at α = 0.1.
func TestIntervalScoreExample(t *testing.T) {
	t.Parallel()
	near(t, "inside", score.Interval(1, 3, 2, 0.1), 2, 1e-12)
	near(t, "above", score.Interval(1, 3, 4, 0.1), 22, 1e-12)
	near(t, "below", score.Interval(1, 3, 0, 0.1), 22, 1e-12)
}
