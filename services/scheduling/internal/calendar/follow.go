package calendar

import (
	"cmp"
	"slices"
)

// Follow lets crops that have not begun wait for what came late: each that would
// hold a room or tunnel on days on which another holds it moves later, never
// earlier, by as few days as free it. Crops that have begun stay; the others are
// taken by the day of filling on which they stand, then id, so that a slip runs
// on from crop to crop. It returns the moves in that order, and the crops that
// found no free days within a year, which stay where they were. Errors as of
// Compute.
func Follow(crops []Crop, rules *Rules) (moves []Shift, stuck []string, err error) {
	dates, err := Recompute(crops, rules)
	if err != nil {
		return nil, nil, err
	}
	l := newLedger(crops)
	var waiting []int
	for i := range crops {
		if crops[i].Begun() {
			l.add(i, dates[i].Occupancies)
		} else {
			waiting = append(waiting, i)
		}
	}
	stands := func(i int) Date {
		if nb := crops[i].NotBefore; nb != nil {
			return max(crops[i].Fill, *nb)
		}
		return crops[i].Fill
	}
	slices.SortFunc(waiting, func(a, b int) int {
		return cmp.Or(cmp.Compare(stands(a), stands(b)), cmp.Compare(crops[a].ID, crops[b].ID))
	})
	for _, i := range waiting {
		days, c, ok := l.wait(i, dates[i], rules)
		if !ok {
			stuck = append(stuck, crops[i].ID)
		}
		l.add(i, c.Occupancies)
		if days > 0 {
			moves = append(moves, Shift{Crop: crops[i].ID, Days: days})
		}
	}
	return moves, stuck, nil
}

// wait finds the smallest move later to free and open days; 0 where the crop is in
// nobody's way as it stands.
func (l *ledger) wait(crop int, standing Calendar, rules *Rules) (days int, c Calendar, ok bool) {
	if l.free(crop, standing.Occupancies) {
		return 0, standing, true
	}
	for d := 1; d <= maxShift; d++ {
		_, c, err := Move(l.crops[crop], d, rules)
		if err == nil && l.free(crop, c.Occupancies) {
			return d, c, true
		}
	}
	return 0, standing, false
}
