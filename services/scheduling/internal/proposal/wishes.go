package proposal

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/fillplan"
)

// milli turns cents into the thousandths of a cent that plans are compared by.
const milli = 1000

// wishes turns what the case wishes into the planner's terms.
func (p *Problem) wishes() error {
	w := &fillplan.Wishes{ChangeM: p.c.Wishes.ChangeCents * milli}
	for i, choice := range p.c.Wishes.Keep {
		f, err := p.fill(choice)
		if err != nil {
			err.Kept, err.Index = true, i
			return err
		}
		w.Keep = append(w.Keep, f)
	}
	for i, choice := range p.c.Wishes.Forbid {
		f, err := p.fill(choice)
		if err != nil {
			err.Index = i
			return err
		}
		w.Forbid = append(w.Forbid, f)
	}
	w.Accepted = slices.SortedFunc(maps.Keys(p.Planned), func(a, b fillplan.Fill) int {
		return cmp.Or(cmp.Compare(a.Room, b.Room), cmp.Compare(a.Week, b.Week), cmp.Compare(a.Programme, b.Programme))
	})
	p.Wishes = w
	p.forbidUnserved()
	return nil
}

// fill finds the fill of a choice.
func (p *Problem) fill(c Choice) (fillplan.Fill, *ChoiceError) {
	f := fillplan.Fill{Room: -1, Programme: p.programme(c.ProgrammeID), Week: weekOf(p.c.First, c.Week)}
	for i, r := range p.c.Rooms {
		if r.ID == c.RoomID {
			f.Room = i
		}
	}
	switch {
	case f.Room < 0:
		return f, &ChoiceError{Field: "room_id", Detail: fmt.Sprintf("there is no room %q", c.RoomID)}
	case f.Programme < 0:
		return f, &ChoiceError{Field: "programme_id", Detail: fmt.Sprintf("there is no programme %q", c.ProgrammeID)}
	case p.c.Programmes[f.Programme].System != p.c.Rooms[f.Room].System:
		return f, &ChoiceError{Field: "programme_id", Detail: fmt.Sprintf("programme %q is for %s, but room %q has %s", c.ProgrammeID, p.c.Programmes[f.Programme].System, c.RoomID, p.c.Rooms[f.Room].System)}
	case f.Week < 0 || f.Week >= p.c.Weeks:
		return f, &ChoiceError{Field: "week", Detail: fmt.Sprintf("the week of %s is not among the %d weeks from %s", c.Week, p.c.Weeks, p.c.First)}
	}
	return f, nil
}

// forbidUnserved forbids fills that the published slots of their own phase cannot
// serve, where a week's capacity counts several phases together.
func (p *Problem) forbidUnserved() {
	if !p.ManyPhases() {
		return
	}
	capacity := p.phaseCapacity()
	kept := map[fillplan.Fill]bool{}
	for _, f := range p.Wishes.Keep {
		kept[f] = true
	}
	for r, room := range p.Instance.Rooms {
		for _, prog := range room.Programmes {
			phase := p.c.Programmes[prog].System.CompostPhase()
			for w := range p.c.Weeks {
				f := fillplan.Fill{Room: r, Programme: prog, Week: w}
				if kg, bound := capacity[phaseWeek{w, phase}]; bound && kg < p.kg(f) && !kept[f] {
					p.Wishes.Forbid = append(p.Wishes.Forbid, f)
				}
			}
		}
	}
}

// committed is what the crops that stay bear in the weeks, by farm.
func (p *Problem) committed() []int64 {
	out := make([]int64, len(p.c.Farms))
	for _, c := range p.stays {
		if i, ok := p.farms[c.FarmID]; ok {
			out[i] += p.bears(c)
		}
	}
	return out
}

func (p *Problem) bears(c Crop) int64 {
	byKind := rows(len(p.c.Kinds), p.c.Weeks)
	Weekly(byKind, kindIndex(p.c.Kinds), p.c.First, c.Programme, c.AreaM2, c.Calendar)
	var total int64
	for _, row := range byKind {
		for _, grams := range row {
			total += grams
		}
	}
	return total
}

// grams is what a fill yields within the weeks.
func (p *Problem) grams(f fillplan.Fill) int64 {
	prog := &p.Instance.Programmes[f.Programme]
	var total int64
	for k := range min(prog.Weeks, p.c.Weeks-f.Week) {
		for _, grams := range prog.YieldGrams[k] {
			total += grams
		}
	}
	return total * p.Instance.Rooms[f.Room].Area
}

// committedWork is the work that the crops that stay ask for, in minutes, by farm
// and week.
func (p *Problem) committedWork() [][]int64 {
	out := rows(len(p.c.Farms), p.c.Weeks)
	for _, c := range p.stays {
		if i, ok := p.farms[c.FarmID]; ok {
			work(out[i], p.c.First, c.Programme, c.AreaM2, c.Calendar)
		}
	}
	return out
}

// dates are the usual days of a fill, moved to a day.
func (p *Problem) dates(f fillplan.Fill, fill calendar.Date) (calendar.Calendar, error) {
	return calendar.Compute(calendar.Crop{ID: p.c.Rooms[f.Room].ID, Programme: p.c.Programmes[f.Programme], Fill: fill}, p.c.Rules)
}
