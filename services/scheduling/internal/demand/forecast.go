package demand

import (
	"math"

	"breakshare.example/services/scheduling/internal/calendar"
)

// Method is a way to forecast.
type Method string

// The methods, from the plainest on; of two that score alike the plainer is used.
const (
	// Average forecasts the mean of what is known; used unscored where less than
	// leastScored weeks are.
	Average Method = "average"
	// SeasonalNaive forecasts the same week a year before.
	SeasonalNaive Method = "seasonal naive"
	// Naive forecasts the last known week.
	Naive Method = "naive"
	// Level smooths a level.
	Level Method = "smoothed level"
	// DampedTrend smooths a level and a damped trend.
	DampedTrend Method = "smoothed level and damped trend"
	// Season smooths a level, a damped trend and the season of the year.
	Season Method = "smoothed level, damped trend and season"
)

// scored lists the methods that compete, in order of plainness.
var scored = []Method{SeasonalNaive, Naive, Average, Level, DampedTrend, Season}

const (
	leastScored = 12 // known weeks without which nothing is scored
	mostTest    = 26 // weeks at the end of the history to be forecast
	mostAhead   = 13 // weeks ahead that are scored: a quarter
)

// ahead forecasts by a smoothing method; y begins with a known value.
func (m Method) ahead(y []float64, h int) []float64 {
	var f fitted
	switch m {
	case Level:
		f = fitLevel(y)
	case DampedTrend:
		f = fitDamped(y)
	case Season:
		f = fitSeason(y, yearWeeks)
	default:
		return meanAhead(y, h)
	}
	return f.ahead(h)
}

// Score is how well a method would have done.
type Score struct {
	Method   Method
	Accuracy Accuracy
}

// Week is the forecast of one week.
type Week struct {
	Week calendar.Date
	// Grams to plan with: the override where there is one, else ModelGrams.
	Grams int64
	// ModelGrams is what the method says, standing orders included.
	ModelGrams int64
	// StandingGrams is the part that standing orders ask for.
	StandingGrams int64
	// Holiday marked for the week; empty where none.
	Holiday string
	// Override of the week; nil where none.
	Override *Override
}

// Result is a forecast with its grounds.
type Result struct {
	Method Method
	Weeks  []Week
	// Scores of all methods that the history is long enough for, over the same
	// weeks; empty where it is too short to score any.
	Scores []Score
	// Effects of the holidays that the history shows, by name.
	Effects []Effect
}

// Score returns the score of a method; ok is false where it was not scored.
func (r *Result) Score(m Method) (score Score, ok bool) {
	for _, s := range r.Scores {
		if s.Method == m {
			return s, true
		}
	}
	return Score{}, false
}

// Forecast forecasts the weeks from in.First on. The order of the input's lists
// does not matter. Error: *InputError.
func Forecast(in Input) (Result, error) {
	if err := in.check(); err != nil {
		return Result{}, err
	}
	s := newSeries(&in)
	r := Result{Method: Average, Effects: sortedEffects(s.effects(s.known))}
	r.Scores = s.score(min(in.Weeks, mostAhead))
	best := math.Inf(1)
	for _, sc := range r.Scores {
		if sc.Accuracy.MeanAbsolute < best {
			best, r.Method = sc.Accuracy.MeanAbsolute, sc.Method
		}
	}
	model := s.predict(r.Method, s.known, in.Weeks)
	overrides := map[calendar.Date]Override{}
	for _, o := range in.Overrides {
		overrides[o.Week] = o
	}
	r.Weeks = make([]Week, in.Weeks)
	for k := range r.Weeks {
		i := s.known + k
		w := Week{
			Week: in.First.Add(7 * k), ModelGrams: int64(math.Round(min(model[k], maxGrams))),
			StandingGrams: int64(s.standing[i]), Holiday: s.holiday[i],
		}
		w.Grams = w.ModelGrams
		if o, ok := overrides[w.Week]; ok {
			w.Override, w.Grams = &o, o.Grams
		}
		r.Weeks[k] = w
	}
	return r, nil
}

// score forecasts the last weeks of the history again and again, each time from
// what was known before, up to h weeks ahead.
func (s *series) score(h int) []Score {
	known := 0
	for _, v := range s.total[:s.known] {
		if !math.IsNaN(v) {
			known++
		}
	}
	if known < leastScored {
		return nil
	}
	first := s.known - min(mostTest, s.known/3)
	scale := naiveScale(s.total[:first], yearWeeks)
	var out []Score
	for _, m := range scored {
		// A year is needed to look back upon, two to know a season.
		if (m == SeasonalNaive && first < yearWeeks) || (m == Season && first < 2*yearWeeks) {
			continue
		}
		var t tally
		for origin := first; origin < s.known; origin++ {
			ahead := min(h, s.known-origin)
			for k, v := range s.predict(m, origin, ahead) {
				t.add(s.total[origin+k], v)
			}
		}
		if t.n > 0 {
			out = append(out, Score{Method: m, Accuracy: t.accuracy(scale)})
		}
	}
	return out
}
