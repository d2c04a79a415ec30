package fillplan

import (
	"math"
	"math/rand/v2"
)

// trySwap proposes to exchange what two rooms do from a random week on and
// keeps the exchange with the Metropolis probability of the temperature. It
// reports whether the plan changed.
func (s *state) trySwap(a, b int, temperature float64, rng *rand.Rand) bool {
	week := rng.IntN(s.p.weeks)
	headA, tailA := split(s.rooms[a], week)
	headB, tailB := split(s.rooms[b], week)
	if len(tailA) == 0 && len(tailB) == 0 {
		return false
	}
	s.newA = append(s.newA[:0], headA...)
	s.newB = append(s.newB[:0], headB...)
	var ok bool
	if s.newA, ok = s.graft(a, s.newA, b, tailB); !ok {
		return false
	}
	if s.newB, ok = s.graft(b, s.newB, a, tailA); !ok {
		return false
	}
	s.oldA = append(s.oldA[:0], s.rooms[a]...)
	s.oldB = append(s.oldB[:0], s.rooms[b]...)
	before := s.total
	s.lift(a)
	s.lift(b)
	fits := s.placeIfYardAllows(a, s.newA)
	if fits {
		fits = s.placeIfYardAllows(b, s.newB)
	}
	if fits && (s.total <= before || rng.Float64() < math.Exp(float64(before-s.total)/temperature)) {
		return true
	}
	s.lift(a)
	s.lift(b)
	s.place(a, s.oldA)
	s.place(b, s.oldB)
	return false
}

func (s *state) placeIfYardAllows(r int, timeline []choice) bool {
	for _, c := range timeline {
		if s.p.rooms[r].slots[c.slot].compost > s.yard[c.week] {
			return false
		}
	}
	s.place(r, timeline)
	return true
}

// split cuts a timeline into the fills before a week and the others.
func split(timeline []choice, week int) (head, tail []choice) {
	n := 0
	for n < len(timeline) && timeline[n].week < week {
		n++
	}
	return timeline[:n], timeline[n:]
}

// graft appends another room's fills to a head, translated to this room's
// slots, and reports whether the room may make them all.
func (s *state) graft(r int, head []choice, other int, tail []choice) ([]choice, bool) {
	room, from := &s.p.rooms[r], &s.p.rooms[other]
	free := room.free
	if len(head) > 0 {
		last := head[len(head)-1]
		free = last.week + room.slots[last.slot].occ
	}
	for _, c := range tail {
		k := room.slotOf(from.slots[c.slot].programme)
		if k < 0 || c.week < free || room.slots[k].base[c.week] >= never {
			return head, false
		}
		head = append(head, choice{slot: k, week: c.week})
		free = c.week + room.slots[k].occ
	}
	return head, room.mayIdle(head)
}

func (room *roomChoices) slotOf(programme int) int {
	for k := range room.slots {
		if room.slots[k].programme == programme {
			return k
		}
	}
	return -1
}

// mayIdle reports whether the room may stand idle wherever a timeline leaves it
// so.
func (room *roomChoices) mayIdle(timeline []choice) bool {
	if !room.bound {
		return true
	}
	w := room.free
	for _, c := range timeline {
		for ; w < c.week; w++ {
			if !room.idle[w] {
				return false
			}
		}
		w = c.week + room.slots[c.slot].occ
	}
	for ; w < len(room.idle); w++ {
		if !room.idle[w] {
			return false
		}
	}
	return true
}
