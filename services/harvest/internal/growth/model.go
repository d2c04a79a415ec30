package growth

import (
	"encoding/json"
	"math"
	"sync"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/forecast"
)

// NoProfileError says that nothing can be forecast, for want of a break profile.
type NoProfileError struct{ CropID string }

// Error says what would mend it.
func (e *NoProfileError) Error() string {
	return "the programme of crop " + e.CropID + " tells no break profile: give its programme one"
}

// spreadOfShare is how far a break's share may lie from what the programme
// says, low and high, as parts of it: what the shipped profiles have for the
// first break. Common practice, no source.
const (
	shareLow  = 0.74
	shareHigh = 1.28
)

// ForecastProfile is the profile as the forecast reads it: the programme's,
// corrected by the co-op's own crops of it that had ended when this one was
// filled. Lags from steps
// other than Profile.After are the days of the steps in between, whose ranges
// are taken to vary independently.
func (c Crop) ForecastProfile() (forecast.Profile, error) {
	p := c.Profile
	if p == nil {
		return forecast.Profile{}, &NoProfileError{c.ID}
	}
	out := forecast.Profile{
		Name: c.Species, Interval: p.Interval.floats(), Width: p.Width.floats(), Yield: p.Yield.floats(),
	}
	for _, share := range p.Shares {
		likely := float64(share) / 10
		out.Shares = append(out.Shares, forecast.Range{Low: likely * shareLow, Likely: likely, High: min(100, likely*shareHigh), Basis: forecast.CommonPractice})
	}
	for _, b := range p.Bears {
		if b.Stage != "" {
			out.PickStages = append(out.PickStages, forecast.PickStage{Name: b.Stage, PerMille: b.PerMille})
		}
	}
	for _, s := range c.Steps {
		from, known := stages[s.Step]
		if s.Step == p.After {
			out.FirstPick = append(out.FirstPick, forecast.Lag{From: from, Days: p.FirstPick.floats()})
		} else if lag, ok := c.lag(s.Step); known && ok {
			out.FirstPick = append(out.FirstPick, forecast.Lag{From: from, Days: lag})
		}
	}
	if len(out.FirstPick) == 0 {
		out.FirstPick = []forecast.Lag{{From: stages[p.After], Days: p.FirstPick.floats()}}
	}
	return c.learned(out), nil
}

func (r Range) floats() forecast.Range {
	out := forecast.Range{Low: float64(r.Least), Likely: float64(r.Usual), High: float64(r.Most), Basis: r.Basis, Source: r.Source}
	if out.Basis == 0 || (out.Basis == forecast.Published && out.Source == "") {
		out.Basis = forecast.CommonPractice
	}
	return out
}

// lag adds up the days from a step to the first pick.
func (c Crop) lag(from Step) (forecast.Range, bool) {
	counting := false
	var usual int64
	var early, late float64
	for i, s := range c.Steps {
		if s.Step == Cropping {
			break
		}
		if counting = counting || s.Step == from; !counting {
			continue
		}
		days := s.Days
		if days == nil {
			if i+1 == len(c.Steps) {
				return forecast.Range{}, false
			}
			n := int64(max(0, c.Steps[i+1].Start.Sub(s.Start)))
			days = &Range{Least: n, Usual: n, Most: n}
		}
		usual += days.Usual
		early += math.Pow(float64(days.Usual-days.Least), 2)
		late += math.Pow(float64(days.Most-days.Usual), 2)
	}
	u := float64(usual)
	return forecast.Range{
		Low: max(0, u-math.Sqrt(early)), Likely: u, High: min(400, u+math.Sqrt(late)),
		Basis: forecast.CommonPractice, Source: "days of the programme's steps, added up",
	}, counting
}

// Model makes the crop's profile ready to forecast.
func (c Crop) Model() (*forecast.Model, error) {
	p, err := c.ForecastProfile()
	if err != nil {
		return nil, err
	}
	return ready(p)
}

// models keeps those made ready: a co-op grows by few programmes, and making
// one ready takes as long as hundreds of forecasts.
var models sync.Map

const mostModels = 500

var modelCount struct {
	sync.Mutex
	n int
}

func ready(p forecast.Profile) (*forecast.Model, error) {
	key, err := json.Marshal(p)
	if err != nil {
		return nil, err
	}
	if m, ok := models.Load(string(key)); ok {
		return m.(*forecast.Model), nil
	}
	m, err := forecast.New(p, forecast.Shipped())
	if err != nil {
		return nil, err
	}
	modelCount.Lock()
	defer modelCount.Unlock()
	if modelCount.n >= mostModels {
		models.Clear()
		modelCount.n = 0
	}
	models.Store(string(key), m)
	modelCount.n++
	return m, nil
}

// Picked is what was picked of the whole crop on a day; several of a day add up.
type Picked struct {
	Day   day.Date
	Grams int64
	Open  bool // the day is not over, and more may come
}

// Forecast answers for days from a date on, from the picks before it.
func (c Crop) Forecast(m *forecast.Model, picks []Picked, from day.Date, days int) (*forecast.Forecast, error) {
	in := forecast.Crop{Seed: c.seed(), AreaTenthM2: int64(c.AreaM2) * 10}
	for _, s := range c.Steps {
		if stage, ok := stages[s.Step]; ok && s.Real && s.Start >= c.Fill && s.Start <= from {
			in.Stages = append(in.Stages, forecast.StageDate{Stage: stage, Day: s.Start.Sub(c.Fill)})
		}
	}
	if len(in.Stages) == 0 {
		in.Stages = c.planned()
	}
	for _, p := range picks {
		if p.Day < from && p.Day >= c.Fill {
			in.Picks = append(in.Picks, forecast.Pick{Day: p.Day.Sub(c.Fill), Grams: p.Grams, Open: p.Open})
		}
	}
	if c.Ended {
		last := c.Free.Sub(c.Fill)
		in.LastDay = &last
	}
	return forecasts.of(m, in, from.Sub(c.Fill), days)
}

// planned is the step from which a crop counts of which nothing has begun, or
// nothing was written down: filling where the programme has days from there,
// else the step that it names.
func (c Crop) planned() []forecast.StageDate {
	for _, s := range c.Steps {
		if stage, ok := stages[s.Step]; ok && s.Start >= c.Fill {
			if _, has := c.lag(s.Step); has || s.Step == c.Profile.After {
				return []forecast.StageDate{{Stage: stage, Day: s.Start.Sub(c.Fill)}}
			}
		}
	}
	return nil
}

// shipped names the profile to judge sizes by where a programme tells none.
var shipped = map[string]string{
	"white mushroom": forecast.WhiteBulk, "brown mushroom": forecast.BrownBulk, "oyster mushroom": forecast.OysterBag,
}

// DayMost is the most that the crop can be expected to bear in a day, grams; 0
// where nothing is known to judge by.
func (c Crop) DayMost() int64 {
	p, err := c.ForecastProfile()
	if err != nil {
		name, ok := shipped[c.Species]
		if !ok {
			return 0
		}
		for _, d := range forecast.Defaults() {
			if d.Name == name {
				p = d
			}
		}
	}
	m, err := ready(p)
	if err != nil {
		return 0
	}
	return m.DayMost(int64(c.AreaM2) * 10)
}
