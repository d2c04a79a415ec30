package proposal

import (
	"cmp"
	"maps"
	"slices"

	"breakshare.example/services/scheduling/internal/fillplan"
)

// phaseWeek is the compost of one phase in one week.
type phaseWeek struct{ week, phase int }

// phaseCapacity is what the published slots of each phase give in each week beside
// the crops that stay. Weeks that are only reckoned are left out: they bind no
// phase.
func (p *Problem) phaseCapacity() map[phaseWeek]int64 {
	out := map[phaseWeek]int64{}
	for w, y := range p.Yard {
		for _, phase := range p.phases() {
			if !y.Reckoned {
				out[phaseWeek{w, phase}] = 0
			}
		}
	}
	add := func(k phaseWeek, kg int64) {
		if _, bound := out[k]; bound {
			out[k] += kg
		}
	}
	for _, s := range p.c.Slots {
		w := weekOf(p.c.First, s.Ready)
		if w >= 0 && w < len(p.Yard) && !p.Yard[w].down(s.YardID) {
			add(phaseWeek{w, s.Phase}, s.CapacityKg)
		}
	}
	for _, c := range p.stays {
		if !c.Begun {
			add(phaseWeek{weekOf(p.c.First, c.Fill), c.Programme.System.CompostPhase()}, -CompostKg(c.Programme, c.AreaM2))
		}
	}
	return out
}

// down reports whether the yard gives nothing in the week.
func (y YardWeek) down(yardID string) bool {
	_, up := y.ByYard[yardID]
	return !up
}

// ManyPhases reports whether rooms need compost of more than one phase.
func (p *Problem) ManyPhases() bool { return len(p.phases()) > 1 }

// TooMuch lists fills of a plan to give up, by week and phase, so that the published
// slots of each phase can serve the rest: those first that the plan would miss
// least, fills to be kept never. Empty where the plan can be served as it is. A
// week's capacity counts all phases together, so a plan of the instance can ask too
// much of one of them.
func (p *Problem) TooMuch(plan fillplan.Plan) ([]fillplan.Fill, error) {
	if !p.ManyPhases() {
		return nil, nil
	}
	left := p.phaseCapacity()
	asking := map[phaseWeek][]fillplan.Fill{}
	for _, f := range plan.Canonical().Fills {
		k := phaseWeek{f.Week, p.c.Programmes[f.Programme].System.CompostPhase()}
		if _, bound := left[k]; bound {
			left[k] -= p.kg(f)
			asking[k] = append(asking[k], f)
		}
	}
	var out []fillplan.Fill
	weeks := slices.SortedFunc(maps.Keys(asking), func(a, b phaseWeek) int {
		return cmp.Or(cmp.Compare(a.week, b.week), cmp.Compare(a.phase, b.phase))
	})
	for _, k := range weeks {
		if left[k] >= 0 {
			continue
		}
		missed := map[fillplan.Fill]int64{}
		for _, f := range asking[k] {
			why, err := fillplan.Explain(p.Instance, plan, f)
			if err != nil {
				return nil, err
			}
			missed[f] = why.WithoutM
		}
		slices.SortStableFunc(asking[k], func(a, b fillplan.Fill) int { return cmp.Compare(missed[a], missed[b]) })
		for _, f := range asking[k] {
			if left[k] >= 0 {
				break
			}
			if !slices.Contains(p.Wishes.Keep, f) {
				left[k] += p.kg(f)
				out = append(out, f)
			}
		}
	}
	return out, nil
}

func (p *Problem) kg(f fillplan.Fill) int64 {
	return p.Instance.Programmes[f.Programme].CompostKg * p.Instance.Rooms[f.Room].Area
}

// Without returns the problem with fills forbidden.
func (p *Problem) Without(fills []fillplan.Fill) *Problem {
	out, wishes := *p, *p.Wishes
	wishes.Forbid = append(slices.Clone(wishes.Forbid), fills...)
	out.Wishes = &wishes
	return &out
}

// YardDown returns the problem with a yard, or all where yardID is empty, that give
// nothing from one week to before another. Both lie within the weeks.
func (p *Problem) YardDown(yardID string, from, until int) (*Problem, error) {
	out := *p
	out.Yard = slices.Clone(p.Yard)
	for w := from; w < until; w++ {
		y := &out.Yard[w]
		y.ByYard = maps.Clone(y.ByYard)
		maps.DeleteFunc(y.ByYard, func(yard string, _ int64) bool { return yardID == "" || yard == yardID })
		y.CapacityKg = -y.TakenKg
		for _, kg := range y.ByYard {
			y.CapacityKg += kg
		}
		y.CapacityKg = max(0, y.CapacityKg)
		var err error
		if out.Instance, err = out.Instance.WithYard(w, w+1, y.CapacityKg); err != nil {
			return nil, err
		}
	}
	return &out, nil
}

// RoomLost returns the problem with a room that can no longer be filled.
func (p *Problem) RoomLost(room int) (*Problem, error) {
	out, wishes := *p, *p.Wishes
	var err error
	if out.Instance, err = p.Instance.WithoutRoom(room); err != nil {
		return nil, err
	}
	lost := func(f fillplan.Fill) bool { return f.Room == room }
	wishes.Keep = slices.DeleteFunc(slices.Clone(wishes.Keep), lost)
	wishes.Accepted = slices.DeleteFunc(slices.Clone(wishes.Accepted), lost)
	wishes.Forbid = slices.DeleteFunc(slices.Clone(wishes.Forbid), lost)
	out.Wishes = &wishes
	return &out, nil
}

// Demand returns the problem with all demand at a percentage of what it is.
func (p *Problem) Demand(percent int64) (*Problem, error) {
	out := *p
	var err error
	out.Instance, err = p.Instance.WithDemand(percent)
	return &out, err
}

// Trim leaves out fills that yield nothing within the weeks and cost nothing in
// them either: a plan is as good without. Those to be kept, and those planned
// already, stay.
func (p *Problem) Trim(plan fillplan.Plan) fillplan.Plan {
	plan.Fills = slices.DeleteFunc(slices.Clone(plan.Fills), func(f fillplan.Fill) bool {
		idle := p.grams(f) == 0 && fillplan.Evaluate(p.Instance, []fillplan.Fill{f}).Fill == 0 && p.Wishes.WishM([]fillplan.Fill{f}) == p.Wishes.WishM(nil)
		return idle && !slices.Contains(p.Wishes.Keep, f)
	})
	return plan
}
