package score

import (
	"math"
	"slices"
)

// Record is one figure given for a day, and what was really picked, in grams.
type Record struct {
	Day               int // any count of days, the same for all records
	Low, Likely, High int64
	Actual            int64
}

// Windows are the days over which scores are shown: a week, four, twelve.
var Windows = []int{7, 28, 84}

// bandAlpha is the part of days that may fall outside Low to High: the band is
// meant to hold 80 %.
const bandAlpha = 0.2

// Card is the score of one figure over one window. Grams unless said otherwise.
type Card struct {
	Days     int // window
	N        int // records in it
	Bias     float64
	MAE      float64
	MASE     float64 // MAE over the seasonal naive one's; NaN when that is 0 or unknown
	Pinball  float64 // mean over the 10 %, 50 % and 90 % quantiles
	CRPS     float64 // from the same three quantiles
	Winkler  float64 // mean interval score of the 80 % band
	Coverage float64 // part of days within Low to High; NaN when no day is busy
	Busy     int     // records that coverage counts
}

// busy says whether the record tests the band: a day on which nothing was
// expected at all and nothing came would flatter it.
func (r Record) busy() bool { return r.High > 0 || r.Actual > 0 }

// Of scores the records of the days after asOf−days up to asOf. naiveMAE is
// the error of the seasonal naive figure on the same days, 0 when unknown.
func Of(records []Record, asOf, days int, naiveMAE float64) Card {
	c := Card{Days: days, MASE: math.NaN(), Coverage: math.NaN()}
	var inside int
	probabilities := []float64{0.1, 0.5, 0.9}
	for _, r := range records {
		if r.Day <= asOf-days || r.Day > asOf {
			continue
		}
		c.N++
		y := float64(r.Actual)
		q := []float64{float64(r.Low), float64(r.Likely), float64(r.High)}
		c.Bias += q[1] - y
		c.MAE += math.Abs(q[1] - y)
		for i, p := range probabilities {
			c.Pinball += Pinball(q[i], y, p) / 3
		}
		c.CRPS += CRPSQuantiles(probabilities, q, y)
		c.Winkler += Interval(q[0], q[2], y, bandAlpha)
		if r.busy() {
			c.Busy++
			if r.Low <= r.Actual && r.Actual <= r.High {
				inside++
			}
		}
	}
	if c.N == 0 {
		return c
	}
	n := float64(c.N)
	for _, v := range []*float64{&c.Bias, &c.MAE, &c.Pinball, &c.CRPS, &c.Winkler} {
		*v /= n
	}
	if c.Busy > 0 {
		c.Coverage = float64(inside) / float64(c.Busy)
	}
	if naiveMAE > 0 {
		c.MASE = c.MAE / naiveMAE
	}
	return c
}

// Cards scores the records over each of Windows. The naive figure for a day is
// the actual value of the day season days before, where there is one; naive
// looks it up.
func Cards(records []Record, asOf, season int) []Card {
	actual := make(map[int]int64, len(records))
	for _, r := range records {
		actual[r.Day] = r.Actual
	}
	out := make([]Card, len(Windows))
	for i, days := range Windows {
		var sum, n float64
		for _, r := range records {
			before, ok := actual[r.Day-season]
			if ok && r.Day > asOf-days && r.Day <= asOf {
				sum += math.Abs(float64(before - r.Actual))
				n++
			}
		}
		var naive float64
		if n > 0 {
			naive = sum / n
		}
		out[i] = Of(records, asOf, days, naive)
	}
	return out
}

// Level is one row of a reliability table: of the days for which a quantile was
// given, the part on which the value stayed at or below it.
type Level struct {
	Probability float64
	N           int
	Observed    float64
}

// Reliability tells for Low, Likely and High how often the value stayed at or
// below each, over all busy records. A figure is reliable when Observed is near
// Probability.
func Reliability(records []Record) []Level {
	out := []Level{{Probability: 0.1}, {Probability: 0.5}, {Probability: 0.9}}
	for _, r := range records {
		if !r.busy() {
			continue
		}
		for i, q := range []int64{r.Low, r.Likely, r.High} {
			out[i].N++
			if r.Actual <= q {
				out[i].Observed++
			}
		}
	}
	out = slices.DeleteFunc(out, func(l Level) bool { return l.N == 0 })
	for i := range out {
		out[i].Observed /= float64(out[i].N)
	}
	return out
}
