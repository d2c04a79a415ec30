package growth

import (
	"cmp"
	"slices"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/forecast"
)

// Ended is a crop that was cleared, as far as others of its programme can learn
// from it.
type Ended struct {
	ID     string
	AreaM2 int32
	Fill   day.Date
	Free   day.Date
	Steps  []StepDate
	Picks  []BreakPick
}

// BreakPick is what was picked on a day of one break.
type BreakPick struct {
	Day   day.Date
	Break int // from 1; 0 where nobody said
	Grams int64
}

// Finished is what a forecast can learn from the crop: one entry with its breaks
// and the days from the first of its stages to the first pick, and one with
// nothing but the days for each further stage. It is empty where nothing was
// picked.
func (e Ended) Finished() []forecast.Finished {
	first, grams := e.breaks()
	if len(grams) == 0 {
		return nil
	}
	var out []forecast.Finished
	for _, s := range e.Steps {
		from, known := stages[s.Step]
		if !known || !s.Real || s.Start < e.Fill || s.Start.Sub(e.Fill) > first {
			continue
		}
		out = append(out, forecast.Finished{From: from, LagDays: first - s.Start.Sub(e.Fill)})
	}
	if len(out) == 0 {
		out = []forecast.Finished{{LagDays: -1}}
	}
	out[0].AreaTenthM2, out[0].BreakGrams = int64(e.AreaM2)*10, grams
	return out
}

// breaks are the first day of picking, after filling, and the grams of each break
// up to the first that has no pick. A day of which nobody noted the break goes with the
// day before. A single day that nobody wrote down between two that were picked
// is taken to have borne as much as those two on average: without it, crops
// would seem to bear less than they do.
func (e Ended) breaks() (first int, grams []int64) {
	now, last, lastGrams := 1, day.Date(0), int64(0)
	for _, p := range e.days() {
		if p.Break > 0 {
			now = max(now, p.Break)
		}
		if now > len(grams)+1 {
			break // a break between was never picked, or never noted
		}
		if len(grams) == 0 {
			first = p.Day.Sub(e.Fill)
		}
		if now > len(grams) {
			grams = append(grams, 0)
		} else if p.Day.Sub(last) == 2 {
			grams[now-1] += (p.Grams + lastGrams) / 2
		}
		grams[now-1] += p.Grams
		last, lastGrams = p.Day, p.Grams
	}
	return first, grams
}

// days are the picks, those of one day together with the highest of its breaks,
// oldest first.
func (e Ended) days() []BreakPick {
	picks := slices.SortedFunc(slices.Values(e.Picks), func(a, b BreakPick) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Break, b.Break))
	})
	var out []BreakPick
	for _, p := range picks {
		switch n := len(out); {
		case p.Grams <= 0 || p.Day < e.Fill:
		case n > 0 && out[n-1].Day == p.Day:
			out[n-1].Grams += p.Grams
			out[n-1].Break = max(out[n-1].Break, p.Break)
		default:
			out = append(out, p)
		}
	}
	return out
}

// learned corrects a profile by the crops that had ended when this one was
// filled, of those that are known. Where what they tell makes no sense, the
// profile stays as it is.
func (c Crop) learned(p forecast.Profile) forecast.Profile {
	var done []forecast.Finished
	for _, e := range c.Before {
		if e.Free <= c.Fill && e.ID != c.ID {
			done = append(done, e.Finished()...)
		}
	}
	if len(done) == 0 {
		return p
	}
	if l := p.Learn(done); l.Check() == nil {
		return l
	}
	return p
}

// LearntFrom is from how many ended crops the crop's profile is learnt.
func (c Crop) LearntFrom() int {
	n := 0
	for _, e := range c.Before {
		if e.Free <= c.Fill && e.ID != c.ID && len(e.Finished()) > 0 {
			n++
		}
	}
	return n
}
