package proposal

import (
	"cmp"
	"slices"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/fillplan"
)

// Dated is a fill of a plan on its days.
type Dated struct {
	fillplan.Fill
	Week                      calendar.Date // the Monday
	FillDate, FirstPick, Free calendar.Date
	CompostGrams              int64
	CropID                    string // the crop that is planned so already; empty for a new fill
}

// Read puts the fills of a plan on days: the first slot of a fitting phase in the
// week, else its Monday, but not before the room is free and on a day when the
// co-op fills. It also lists the planned crops that the plan leaves out, by room
// and day.
func (p *Problem) Read(plan fillplan.Plan) (fills []Dated, dropped []Crop, err error) {
	free := slices.Clone(p.freeOn)
	kept := map[fillplan.Fill]bool{}
	for _, f := range plan.Canonical().Fills {
		d := Dated{Fill: f, Week: p.c.First.Add(7 * f.Week)}
		prog := p.c.Programmes[f.Programme]
		if prog.System.CompostPhase() > 0 {
			d.CompostGrams = prog.Inputs.Compost.Grams * p.c.Rooms[f.Room].AreaM2
		}
		if crop, ok := p.Planned[f]; ok && crop.Fill >= free[f.Room] {
			kept[f] = true
			d.CropID, d.FillDate, d.FirstPick, d.Free = crop.ID, crop.Fill, crop.Calendar.FirstPick.Expected, crop.Free
		} else {
			d.FillDate = p.openFrom(max(p.ready(f), free[f.Room]))
			dates, err := p.dates(f, d.FillDate)
			if err != nil {
				return nil, nil, err
			}
			d.FirstPick, d.Free = dates.FirstPick.Expected, dates.Free.Expected
		}
		free[f.Room] = d.Free
		fills = append(fills, d)
	}
	for f, crop := range p.Planned {
		if !kept[f] {
			dropped = append(dropped, crop)
		}
	}
	slices.SortFunc(dropped, func(a, b Crop) int {
		return cmp.Or(cmp.Compare(a.RoomID, b.RoomID), cmp.Compare(a.Fill, b.Fill), cmp.Compare(a.ID, b.ID))
	})
	return fills, dropped, nil
}

// ready is the day on which compost for a fill is ready: that of the first slot of
// its phase in the week, else the Monday.
func (p *Problem) ready(f fillplan.Fill) calendar.Date {
	monday := p.c.First.Add(7 * f.Week)
	phase := p.c.Programmes[f.Programme].System.CompostPhase()
	first := monday.Add(7)
	for _, s := range p.c.Slots {
		if s.Phase == phase && s.Ready >= monday {
			first = min(first, s.Ready)
		}
	}
	if first == monday.Add(7) {
		return monday
	}
	return first
}

// FarmReport is what a plan means for a farm.
type FarmReport struct {
	Farm           Farm
	Grams, Fair    int64
	PeakWeek       int // the first of the busiest weeks; -1 where there is no work
	PeakMinutes    int64
	WeeksOverLimit int
}

// Farms reports production and work by farm, by id: the crops that stay and the
// fills of the plan.
func (p *Problem) Farms(fills []Dated) ([]FarmReport, error) {
	grams, minutes := p.committed(), p.committedWork()
	for _, d := range fills {
		farm := p.Instance.Rooms[d.Room].Farm
		dates, err := p.dates(d.Fill, d.FillDate)
		if err != nil {
			return nil, err
		}
		crop := Crop{Programme: p.c.Programmes[d.Programme], AreaM2: p.c.Rooms[d.Room].AreaM2, Calendar: dates}
		grams[farm] += p.bears(crop)
		work(minutes[farm], p.c.First, crop.Programme, crop.AreaM2, dates)
	}
	var all, shares int64
	for i, f := range p.c.Farms {
		all, shares = all+grams[i], shares+f.Shares
	}
	out := make([]FarmReport, len(p.c.Farms))
	for i, f := range p.c.Farms {
		r := FarmReport{Farm: f, Grams: grams[i], PeakWeek: -1}
		if shares > 0 {
			r.Fair = all / shares * f.Shares
		}
		for w, m := range minutes[i] {
			if m > r.PeakMinutes {
				r.PeakWeek, r.PeakMinutes = w, m
			}
			if limit := p.c.Wishes.FarmMinutes; limit > 0 && m > limit {
				r.WeeksOverLimit++
			}
		}
		out[i] = r
	}
	return out, nil
}
