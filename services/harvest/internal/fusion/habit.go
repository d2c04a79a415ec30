package fusion

import "math"

// Past is one day on which a source said a figure and the pick was recorded.
type Past struct {
	AgeDays int // days between that day and today; 0 or more
	Said    Band
	Actual  int64
}

// Habit is how a source errs, on the scale log(grams + c): Bias is added to
// what it says, Spread multiplies the spread it claims. Days is the weight of
// the days behind it.
type Habit struct {
	Bias, Spread float64
	Days         float64
}

// Prior is the co-op's habit, and how many of a source's own days it is worth.
type Prior struct {
	Habit      Habit
	BiasDays   float64 // n₀
	SpreadDays float64 // ν₀
}

// halfLife is the age in days at which a day counts half.
const halfLife = 42.0

// oddDay is the number of claimed standard deviations at which a miss is cut.
const oddDay = 3.0

// DefaultPrior is where a co-op without any records starts: growers guess
// without bias and their bands are half as wide as their errors.
func DefaultPrior() Prior {
	return Prior{Habit: Habit{Bias: 0, Spread: 2}, BiasDays: 6, SpreadDays: 8}
}

// ForecastPrior is the same for the break forecast, whose bands are calibrated.
func ForecastPrior() Prior {
	return Prior{Habit: Habit{Bias: 0, Spread: 1}, BiasDays: 30, SpreadDays: 30}
}

// CombinedPrior is where the figure in use starts.
func CombinedPrior() Prior {
	return Prior{Habit: Habit{Bias: 0, Spread: 1.2}, BiasDays: 30, SpreadDays: 15}
}

// Learn estimates a source's habit from its past days. Days on which it said
// nothing would come and nothing came are left out: they say nothing of its
// skill. It refuses with a *BandError or *FloorError.
func Learn(past []Past, prior Prior, floor int64) (Habit, error) {
	if floor < 1 {
		return Habit{}, &FloorError{floor}
	}
	var weight, sum float64
	for _, p := range past {
		if err := p.Said.check("past"); err != nil {
			return Habit{}, err
		}
		if p.idle() {
			continue
		}
		w := p.weight()
		_, miss := p.miss(floor, 0, prior.Habit.Spread)
		weight += w
		sum += w * miss
	}
	h := Habit{Bias: (prior.BiasDays*prior.Habit.Bias + sum) / (prior.BiasDays + weight), Days: weight}
	squares := prior.SpreadDays * prior.Habit.Spread * prior.Habit.Spread
	for _, p := range past {
		if p.idle() {
			continue
		}
		sd, miss := p.miss(floor, h.Bias, prior.Habit.Spread)
		squares += p.weight() * (miss - h.Bias) * (miss - h.Bias) / (sd * sd)
	}
	h.Spread = math.Sqrt(squares / (prior.SpreadDays + weight))
	return h, nil
}

func (p Past) idle() bool { return p.Said.High == 0 && p.Actual == 0 }

func (p Past) weight() float64 { return math.Pow(0.5, float64(max(0, p.AgeDays))/halfLife) }

// miss returns the spread that was claimed and the error, cut at oddDay times
// the spread that is believed of the source, about centre.
func (p Past) miss(floor int64, centre, factor float64) (sd, miss float64) {
	n := p.Said.normal(floor)
	e := math.Log(float64(p.Actual+floor)) - n.mean
	reach := oddDay * factor * n.sd
	return n.sd, min(centre+reach, max(centre-reach, e))
}

// Pool sums up the habits of all of the co-op's growers (or crops) into a
// prior. Its bias is their mean, weighted by days; n₀ is the variance of a
// single day's error over the variance between sources (method of moments),
// held within 2 to 60 days. start is the answer when there are fewer than two
// sources.
func Pool(habits []Habit, start Prior) Prior {
	var days, bias, spread float64
	for _, h := range habits {
		days += h.Days
		bias += h.Days * h.Bias
		spread += h.Days * h.Spread * h.Spread
	}
	if len(habits) < 2 || days == 0 {
		return start
	}
	// The starting prior stays in with the days it is worth.
	bias = (bias + start.BiasDays*start.Habit.Bias) / (days + start.BiasDays)
	spread = (spread + start.SpreadDays*start.Habit.Spread*start.Habit.Spread) / (days + start.SpreadDays)
	var between float64
	for _, h := range habits {
		between += h.Days / days * (h.Bias - bias) * (h.Bias - bias)
	}
	p := start
	p.Habit = Habit{Bias: bias, Spread: math.Sqrt(spread), Days: days}
	const dayError = 0.3 // standard deviation of one day's error on the log scale
	p.BiasDays = min(60, max(2, dayError*dayError/max(between, 1e-6)))
	return p
}
