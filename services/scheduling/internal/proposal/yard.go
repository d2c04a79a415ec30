package proposal

import (
	"fmt"
	"slices"
	"strings"

	"breakshare.example/services/scheduling/internal/programme"
)

// yards draws the compost of each week from the slots.
func (p *Problem) yards() {
	phases := p.phases()
	weeks := make([]YardWeek, p.c.Weeks)
	for w := range weeks {
		weeks[w].ByYard = map[string]int64{}
	}
	last, granted := -1, make([]int64, p.c.Weeks)
	total, published := map[string]int64{}, map[int]bool{}
	for _, s := range p.c.Slots {
		w := weekOf(p.c.First, s.Ready)
		if !slices.Contains(phases, s.Phase) {
			continue
		}
		last = max(last, w)
		published[w] = true
		total[s.YardID] += s.CapacityKg
		if w >= 0 && w < p.c.Weeks {
			weeks[w].ByYard[s.YardID] += s.CapacityKg
			granted[w] += s.GrantedKg
		}
	}
	p.reckon(weeks, max(0, last+1), total, int64(len(published)))
	stay, anew := p.needs()
	for w := range weeks {
		y := &weeks[w]
		for _, kg := range y.ByYard {
			y.CapacityKg += kg
		}
		// What was granted mostly goes into crops that are planned; the rest of it
		// is taken too.
		y.TakenKg = max(stay[w], granted[w]-anew[w])
		y.CapacityKg = max(0, y.CapacityKg-y.TakenKg)
		p.Instance.YardKg = append(p.Instance.YardKg, y.CapacityKg)
	}
	p.Yard = weeks
	if len(phases) > 1 {
		p.note("Rooms need compost of %d phases; where slots are published, fills that one phase cannot serve were given up.", len(phases))
	}
}

// reckon fills in the weeks after the last published slot.
func (p *Problem) reckon(weeks []YardWeek, from int, total map[string]int64, published int64) {
	if from >= len(weeks) {
		return
	}
	first := p.c.First.Add(7 * from)
	switch {
	case p.c.UnpublishedKg != nil:
		p.note("No slot is published from the week of %s on; %d kg a week are reckoned, as set.", first, *p.c.UnpublishedKg)
	case published > 0:
		p.note("No slot is published from the week of %s on; the mean of the weeks with slots is reckoned.", first)
	default:
		p.note("No slot is published at all and no weekly tonnage is set: only what needs no compost of a yard can be proposed.")
	}
	var all int64
	for _, kg := range total {
		all += kg
	}
	for w := from; w < len(weeks); w++ {
		weeks[w].Reckoned = true
		if p.c.UnpublishedKg != nil && all == 0 {
			weeks[w].ByYard[""] = *p.c.UnpublishedKg
			continue
		}
		for yard, kg := range total {
			mean := kg / published
			if p.c.UnpublishedKg != nil {
				// As the yards' published slots are to each other.
				mean = *p.c.UnpublishedKg * kg / all
			}
			weeks[w].ByYard[yard] = mean
		}
	}
}

// phases are the phases of compost that the rooms can be filled with.
func (p *Problem) phases() []int {
	var out []int
	for _, r := range p.c.Rooms {
		if phase := r.System.CompostPhase(); phase > 0 {
			out = append(out, phase)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// needs is the compost by week that planned crops need: those that stay, and those
// that may be planned anew.
func (p *Problem) needs() (stay, anew []int64) {
	stay, anew = make([]int64, p.c.Weeks), make([]int64, p.c.Weeks)
	add := func(to []int64, c Crop) {
		w := weekOf(p.c.First, c.Fill)
		if !c.Begun && c.Programme.System.CompostPhase() > 0 && w >= 0 && w < len(to) {
			to[w] += CompostKg(c.Programme, c.AreaM2)
		}
	}
	for _, c := range p.stays {
		add(stay, c)
	}
	for _, c := range p.Planned {
		add(anew, c)
	}
	return stay, anew
}

// CompostKg is the compost of one fill, in kilograms, rounded up.
func CompostKg(p *programme.Programme, areaM2 int64) int64 {
	return (p.Inputs.Compost.Grams*areaM2 + 999) / 1000
}

// PhaseWeek is the compost of one phase in one week.
type PhaseWeek struct {
	Phase, Week        int // the week counts from Case.First
	CapacityKg, NeedKg int64
}

// OverPublished lists the weeks, up to the last with a slot of a phase, in which
// crops that have not begun need more compost of the phase than its published slots
// give; by week, then phase. Weeks further ahead bind nobody.
func OverPublished(c *Case) []PhaseWeek {
	type key struct{ week, phase int }
	capacity, need, last := map[key]int64{}, map[key]int64{}, map[int]int{}
	for _, s := range c.Slots {
		w := weekOf(c.First, s.Ready)
		capacity[key{w, s.Phase}] += s.CapacityKg
		if had, ok := last[s.Phase]; !ok || w > had {
			last[s.Phase] = w
		}
	}
	for _, crop := range c.Crops {
		phase := crop.Programme.System.CompostPhase()
		if crop.Begun || phase == 0 {
			continue
		}
		need[key{weekOf(c.First, crop.Fill), phase}] += CompostKg(crop.Programme, crop.AreaM2)
	}
	var out []PhaseWeek
	for k, kg := range need {
		if end, ok := last[k.phase]; ok && k.week >= 0 && k.week <= end && kg > capacity[k] {
			out = append(out, PhaseWeek{Phase: k.phase, Week: k.week, CapacityKg: capacity[k], NeedKg: kg})
		}
	}
	slices.SortFunc(out, func(a, b PhaseWeek) int {
		return strings.Compare(fmt.Sprintf("%06d %d", a.Week, a.Phase), fmt.Sprintf("%06d %d", b.Week, b.Phase))
	})
	return out
}
