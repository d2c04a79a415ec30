package calendar

import "breakshare.example/services/scheduling/internal/programme"

// calendar turns the placed stages into the answer.
func (t *timeline) calendar() Calendar {
	c := Calendar{CropID: t.crop.ID, Stages: make([]StageDates, t.n), Flags: t.flags}
	for i := range t.n {
		s := t.stage(i)
		c.Stages[i] = StageDates{
			Stage: s.Kind, Place: s.Place, Start: t.start[i], End: t.start[i+1],
			Earliest: t.earliest[i], Latest: t.after[i], Recorded: t.recorded[i],
		}
	}
	c.Free = t.window(t.n)
	c.Occupancies = t.occupancies()
	if i := t.index(programme.Cropping); i >= 0 {
		c.FirstPick = t.window(i)
		c.Breaks = t.breaks(i)
	}
	return c
}

func (t *timeline) window(i int) Window {
	return Window{Earliest: t.earliest[i], Expected: t.start[i], Latest: t.after[i]}
}

// occupancies joins neighbouring stages in one place. A place held for no whole
// day (bulk compost spawned on its way into the room) is not an occupancy.
func (t *timeline) occupancies() []Occupancy {
	out := make([]Occupancy, 0, 3)
	for i := 0; i < t.n; {
		place := t.stage(i).Place
		j := i + 1
		for j < t.n && t.stage(j).Place == place {
			j++
		}
		if place.Reserved() && t.start[j] > t.start[i] {
			out = append(out, Occupancy{Place: place, Facility: t.crop.Facilities[place], From: t.start[i], Until: t.start[j]})
		}
		i = j
	}
	return out
}

// breaks lays the break profile over cropping, which is stage i.
func (t *timeline) breaks(i int) []Break {
	p := &t.crop.Programme.Breaks
	end := t.start[i+1]
	out := make([]Break, 0, len(p.Shares.PerMille))
	for k, share := range p.Shares.PerMille {
		b := Break{
			Number:   k + 1,
			Start:    t.start[i] + Date(int64(k)*p.Interval.Usual),
			Earliest: t.earliest[i] + Date(int64(k)*p.Interval.Least),
			Latest:   t.after[i] + Date(int64(k)*p.Interval.Most),
			PerMille: share,
		}
		b.End = min(b.Start+Date(p.Width.Usual), end)
		if b.Start >= end {
			break
		}
		out = append(out, b)
	}
	return out
}
