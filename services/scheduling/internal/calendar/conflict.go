package calendar

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"breakshare.example/services/scheduling/internal/programme"
)

// Conflict is a room or tunnel that two crops hold on the same days.
type Conflict struct {
	// Place is what the facility is to Second.
	Place    programme.Place
	Facility string
	// First and Second are the two crops' ids; First came in earlier (by id where
	// both came on one day).
	First, Second string
	// From and Until bound the days held twice, Until excluded.
	From, Until Date
	// Move is the least move of one of the two that frees the days without
	// troubling any third crop; nil where both have begun or none within a year
	// helps.
	Move *Shift
}

// Shift moves a crop by whole days.
type Shift struct {
	Crop string
	Days int // later where positive
}

// String says what clashes and what helps.
func (c Conflict) String() string {
	s := fmt.Sprintf("%s %s is held by crop %q and crop %q from %s until %s", c.Place, c.Facility, c.First, c.Second, c.From, c.Until)
	if c.Move == nil {
		return s + "; neither can be moved out of the way"
	}
	return fmt.Sprintf("%s; moving crop %q by %+d days frees it", s, c.Move.Crop, c.Move.Days)
}

// maxShift is how far the search for a free place goes, in days.
const maxShift = 366

// hold is one occupancy in the index of a facility.
type hold struct {
	crop        int // index into crops
	place       programme.Place
	from, until Date
}

// ledger indexes who holds which room or tunnel, by its name. One room may be a
// spawn-run room to one crop and a growing room to the next, so the kind of
// place is not part of the key.
type ledger struct {
	crops []Crop
	held  map[string][]hold
}

func newLedger(crops []Crop) *ledger {
	return &ledger{crops: crops, held: map[string][]hold{}}
}

func (l *ledger) add(crop int, occupancies []Occupancy) {
	for _, o := range occupancies {
		if o.Facility != "" {
			l.held[o.Facility] = append(l.held[o.Facility], hold{crop: crop, place: o.Place, from: o.From, until: o.Until})
		}
	}
}

// clash reports whether two holds of one facility cannot both be. Crops of one
// load lie in its tunnel together.
func (l *ledger) clash(a, b hold) bool {
	if a.crop == b.crop || a.until <= b.from || b.until <= a.from {
		return false
	}
	load := l.crops[a.crop].Load
	return a.place != programme.Tunnel || b.place != programme.Tunnel || load == "" || load != l.crops[b.crop].Load
}

// free reports whether the crop would meet nobody else on these occupancies.
func (l *ledger) free(crop int, occupancies []Occupancy) bool {
	for _, o := range occupancies {
		if o.Facility == "" {
			continue
		}
		mine := hold{crop: crop, place: o.Place, from: o.From, until: o.Until}
		for _, h := range l.held[o.Facility] {
			if l.clash(mine, h) {
				return false
			}
		}
	}
	return true
}

// leastMove finds the smallest move of a crop to free and open days, the later
// of two equal ones. The search starts at distance first.
func (l *ledger) leastMove(crop, first int, rules *Rules) (days int, c Calendar, ok bool) {
	for d := first; d <= maxShift; d++ {
		for _, days := range [2]int{d, -d} {
			_, c, err := Move(l.crops[crop], days, rules)
			if err == nil && l.free(crop, c.Occupancies) {
				return days, c, true
			}
			if d == 0 {
				break
			}
		}
	}
	return 0, Calendar{}, false
}

// Conflicts finds every pair of crops that hold one room or tunnel on the same
// days, and for each the least move that resolves it. Calendars belong to the
// crops of the same index. The answer is ordered by first day, facility and crop
// ids, whatever the order of crops.
func Conflicts(crops []Crop, calendars []Calendar, rules *Rules) []Conflict {
	l := newLedger(crops)
	for i := range crops {
		l.add(i, calendars[i].Occupancies)
	}
	var out []Conflict
	for _, facility := range slices.Sorted(maps.Keys(l.held)) {
		holds := slices.SortedFunc(slices.Values(l.held[facility]), l.compareHolds)
		for i, a := range holds {
			for _, b := range holds[i+1:] {
				if b.from >= a.until {
					break
				}
				if l.clash(a, b) {
					out = append(out, l.conflict(facility, a, b, rules))
				}
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Conflict) int {
		return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.Facility, b.Facility))
	})
	return out
}

func (l *ledger) conflict(facility string, a, b hold, rules *Rules) Conflict {
	c := Conflict{
		Place: b.place, Facility: facility, First: l.crops[a.crop].ID, Second: l.crops[b.crop].ID,
		From: b.from, Until: min(a.until, b.until),
	}
	// The later crop moves where both could by the same number of days.
	for _, i := range [2]int{b.crop, a.crop} {
		days, _, ok := l.leastMove(i, 1, rules)
		if ok && (c.Move == nil || abs(days) < abs(c.Move.Days)) {
			c.Move = &Shift{Crop: l.crops[i].ID, Days: days}
		}
	}
	return c
}

func (l *ledger) compareHolds(a, b hold) int {
	return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(l.crops[a.crop].ID, l.crops[b.crop].ID), cmp.Compare(a.until, b.until))
}

// Resolve moves crops that have not begun until no room or tunnel is doubly
// occupied. Crops that have begun stay; the others are taken by filling day, then
// id, and each moves as little as it can past those already placed. It returns
// the moves in that order, and the crops that found no free days within a year,
// which stay where they were. Crops that have begun and clash with each other are
// not mentioned: Conflicts tells of them. Errors as of Compute.
func Resolve(crops []Crop, rules *Rules) (moves []Shift, stuck []string, err error) {
	order := make([]int, 0, len(crops))
	l := newLedger(crops)
	for i := range crops {
		if !crops[i].Begun() {
			order = append(order, i)
			continue
		}
		c, err := Compute(crops[i], rules)
		if err != nil {
			return nil, nil, err
		}
		l.add(i, c.Occupancies)
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(crops[a].Fill, crops[b].Fill), cmp.Compare(crops[a].ID, crops[b].ID))
	})
	for _, i := range order {
		if _, err := Compute(crops[i], rules); err != nil {
			return nil, nil, err
		}
		days, c, ok := l.leastMove(i, 0, rules)
		if !ok {
			stuck = append(stuck, crops[i].ID)
			continue
		}
		l.add(i, c.Occupancies)
		if days != 0 {
			moves = append(moves, Shift{Crop: crops[i].ID, Days: days})
		}
	}
	return moves, stuck, nil
}
