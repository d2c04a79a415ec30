package demand

import (
	"math"
	"slices"
	"strings"

	"breakshare.example/services/scheduling/internal/calendar"
)

// yearWeeks is the season: the same week a year before.
const yearWeeks = 52

// series is the input laid out week by week, from the first known week up to the
// last week to forecast.
type series struct {
	begin    calendar.Date
	total    []float64 // grams; NaN where not known, and ahead
	standing []float64
	holiday  []string // "" where none
	known    int      // index of the first week ahead
}

func newSeries(in *Input) series {
	begin := in.First
	for _, p := range in.History {
		if p.Week < begin {
			begin = p.Week
		}
	}
	s := series{begin: begin, known: in.First.Sub(begin) / 7}
	n := s.known + in.Weeks
	s.total, s.standing, s.holiday = constant(math.NaN(), n), make([]float64, n), make([]string, n)
	for _, p := range in.History {
		if i := s.index(p.Week); i < s.known {
			s.total[i], s.standing[i] = float64(p.Grams), float64(p.StandingGrams)
		}
	}
	for _, st := range in.Standing {
		if i := s.index(st.Week); i >= s.known && i < n {
			s.standing[i] = float64(st.Grams)
		}
	}
	for _, h := range in.Holidays {
		if i := s.index(h.Week); i >= 0 && i < n {
			s.holiday[i] = strings.TrimSpace(h.Name)
		}
	}
	return s
}

func (s *series) index(week calendar.Date) int { return week.Sub(s.begin) / 7 }

// Effect is what a holiday does to a week's demand.
type Effect struct {
	Holiday string
	// Factor on the demand of an ordinary week, drawn towards 1.
	Factor float64
	// Occurrences is how many past weeks it was learnt from.
	Occurrences int
}

// maxFactor bounds what one odd week can teach.
const maxFactor = 8

// effects learns the holidays' factors from the weeks before index until.
func (s *series) effects(until int) map[string]Effect {
	logs, counts := map[string]float64{}, map[string]int{}
	for i := range until {
		name := s.holiday[i]
		if name == "" || math.IsNaN(s.total[i]) {
			continue
		}
		ordinary, ok := s.neighbours(i, until)
		if !ok || ordinary <= 0 {
			continue
		}
		logs[name] += math.Log(within(s.total[i]/ordinary, 1.0/maxFactor, maxFactor))
		counts[name]++
	}
	out := make(map[string]Effect, len(counts))
	for name, n := range counts {
		out[name] = Effect{Holiday: name, Factor: math.Exp(logs[name] / float64(n+1)), Occurrences: n}
	}
	return out
}

// neighbours is the mean of the nearest known ordinary week on either side,
// within three weeks.
func (s *series) neighbours(i, until int) (float64, bool) {
	sum, n := 0.0, 0
	for _, step := range [2]int{-1, 1} {
		for k := 1; k <= 3; k++ {
			j := i + step*k
			if j < 0 || j >= until {
				break
			}
			if s.holiday[j] == "" && !math.IsNaN(s.total[j]) {
				sum += s.total[j]
				n++
				break
			}
		}
	}
	if n == 0 {
		return 0, false
	}
	return sum / float64(n), true
}

// predict forecasts h weeks from index until, using nothing of them but their
// standing orders and marked holidays, which are known ahead. The naive methods
// know of no holidays.
func (s *series) predict(m Method, until, h int) []float64 {
	effects := map[string]Effect{}
	ahead := m.ahead
	switch m {
	case SeasonalNaive:
		ahead = func(y []float64, h int) []float64 { return seasonalAhead(y, yearWeeks, h) }
	case Naive:
		ahead = naiveAhead
	default:
		effects = s.effects(until)
	}
	loose := make([]float64, until)
	for i := range loose {
		loose[i] = s.total[i]/factor(effects, s.holiday[i]) - s.standing[i]
	}
	out := ahead(loose, h)
	for k := range out {
		out[k] = max(0, out[k]+s.standing[until+k]) * factor(effects, s.holiday[until+k])
	}
	return out
}

func factor(effects map[string]Effect, holiday string) float64 {
	if e, ok := effects[holiday]; ok && holiday != "" {
		return e.Factor
	}
	return 1
}

// sortedEffects lists the effects by name.
func sortedEffects(effects map[string]Effect) []Effect {
	out := make([]Effect, 0, len(effects))
	for _, e := range effects {
		out = append(out, e)
	}
	slices.SortFunc(out, func(a, b Effect) int { return strings.Compare(a.Holiday, b.Holiday) })
	return out
}
