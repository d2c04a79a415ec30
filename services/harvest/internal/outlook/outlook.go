// Package outlook owns which figure is used for a room, product and day: how
// the growers of a co-op and the model have erred so far, and what that makes of
// a push and a forecast (package fusion has the formulas).
//
// A grower's habit is learnt per farm, since the same people walk all rooms of
// one, with that of all the co-op's farms as what few days are drawn towards.
// The model's is learnt over the whole co-op.
package outlook

import (
	"cmp"
	"maps"
	"slices"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/fusion"
)

// Past is a room, product and day of which it is known what came.
type Past struct {
	FarmID, RoomID, ProductID string
	Day                       day.Date
	Said                      *fusion.Band // nil where nobody pushed in time
	Model, Combined, Used     *fusion.Band // nil where the day was not closed
	Programme                 *fusion.Band // the model without what ended crops taught it; likewise
	Actual                    int64        // grams
}

// LearnDays is how far back habits are learnt: older days count for little.
const LearnDays = 168

// Habits are how the sources of a co-op's figures err, as of a day.
type Habits struct {
	past   map[string][]Past // by farm, oldest first
	all    []Past
	today  day.Date
	floors map[key]learnt
}

type key struct {
	farm  string
	floor int64
}

type learnt struct {
	grower, model, own fusion.Habit
	correlation        float64
}

// New takes the days known so far; those of today and after are left out. The
// order does not matter.
func New(past []Past, today day.Date) *Habits {
	h := &Habits{past: map[string][]Past{}, today: today, floors: map[key]learnt{}}
	for _, p := range past {
		if age := today.Sub(p.Day); age > 0 && age <= LearnDays {
			h.all = append(h.all, p)
		}
	}
	slices.SortStableFunc(h.all, func(a, b Past) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.RoomID, b.RoomID), cmp.Compare(a.ProductID, b.ProductID))
	})
	for _, p := range h.all {
		h.past[p.FarmID] = append(h.past[p.FarmID], p)
	}
	return h
}

// Today is the day as of which the habits were learnt.
func (h *Habits) Today() day.Date { return h.today }

// Figure is what to fuse. Said or Model may be nil, not both.
type Figure struct {
	FarmID      string
	Said, Model *fusion.Band
	Floor       int64 // grams, c of package fusion; above 0
	Ceiling     int64 // the most the room can bear in a day, grams; 0 when unknown
}

// Fuse returns the figure in use with all that led to it. Without a model the
// push is used as it is. It is not safe for concurrent use.
func (h *Habits) Fuse(f Figure) (fusion.Output, error) {
	if f.Model == nil {
		return fusion.Output{Push: f.Said, PushFixed: f.Said, Combined: *f.Said, Use: *f.Said, PushPerMille: 1000}, nil
	}
	l, err := h.of(f.FarmID, f.Floor)
	if err != nil {
		return fusion.Output{}, err
	}
	return fusion.Fuse(fusion.Input{
		Push: f.Said, Forecast: *f.Model, Grower: l.grower, Model: l.model, Own: l.own,
		Correlation: l.correlation, FloorGrams: f.Floor, CeilingGrams: f.Ceiling,
	})
}

func (h *Habits) of(farm string, floor int64) (learnt, error) {
	k := key{farm, floor}
	if l, ok := h.floors[k]; ok {
		return l, nil
	}
	l, err := h.learn(farm, floor)
	h.floors[k] = l
	return l, err
}

func (h *Habits) learn(farm string, floor int64) (l learnt, err error) {
	said := func(p Past) *fusion.Band { return p.Said }
	own := func(p Past) *fusion.Band { return p.Combined }
	var grower, combined []fusion.Habit
	for _, f := range slices.Sorted(maps.Keys(h.past)) {
		g, err := fusion.Learn(h.history(h.past[f], said), fusion.DefaultPrior(), floor)
		if err != nil {
			return l, err
		}
		c, err := fusion.Learn(h.history(h.past[f], own), fusion.CombinedPrior(), floor)
		if err != nil {
			return l, err
		}
		grower, combined = append(grower, g), append(combined, c)
	}
	if l.grower, err = fusion.Learn(h.history(h.past[farm], said), fusion.Pool(grower, fusion.DefaultPrior()), floor); err != nil {
		return l, err
	}
	if l.own, err = fusion.Learn(h.history(h.past[farm], own), fusion.Pool(combined, fusion.CombinedPrior()), floor); err != nil {
		return l, err
	}
	if l.model, err = fusion.Learn(h.history(h.all, func(p Past) *fusion.Band { return p.Model }), fusion.ForecastPrior(), floor); err != nil {
		return l, err
	}
	var pairs []fusion.Pair
	for _, p := range h.past[farm] {
		if p.Said != nil && p.Model != nil {
			pairs = append(pairs, fusion.Errors(*p.Said, *p.Model, p.Actual, l.grower, l.model, floor))
		}
	}
	l.correlation = fusion.Correlation(pairs)
	return l, nil
}

// history is the past of one source.
func (h *Habits) history(past []Past, source func(Past) *fusion.Band) []fusion.Past {
	var out []fusion.Past
	for _, p := range past {
		if b := source(p); b != nil {
			out = append(out, fusion.Past{AgeDays: h.today.Sub(p.Day), Said: *b, Actual: p.Actual})
		}
	}
	return out
}
