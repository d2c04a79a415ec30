package flow

import (
	"cmp"
	"slices"
)

// start builds the first basis. In a sparse network of senders and receivers
// each receiver in turn takes what it needs from the cheapest senders that
// still have some; what remains, and everything in other networks, starts on
// artificial arcs. On dense networks the greedy start was measured to cost
// more than it saves.
//
// Each step of the greedy start uses up either the sender or the receiver (or
// fills an arc, which then stays outside the tree at capacity); the one used
// up hangs from the other and is never touched again, so that no cycle forms.
// An arc that leads up from a sender used up has room left, one that leads
// down to a receiver used up carries flow: the basis is strongly feasible.
func (s *Solver) start() {
	if s.greedy() {
		for g := 0; g < len(s.groups); {
			v, first, end := s.groups[g].head, s.groups[g].start, s.groups[g].end
			for g++; g < len(s.groups) && s.groups[g].head == v; g++ {
				end = s.groups[g].end
			}
			if s.supply[v] < 0 {
				s.takeCheapest(v, first, end)
			}
		}
	}
	s.hang()
	s.build()
}

// takeCheapest serves receiver v from the arcs first..end-1.
func (s *Solver) takeCheapest(v, first, end int32) {
	offers := s.order[:0]
	for a := first; a < end; a++ {
		if s.supply[s.tail[a]] > 0 {
			offers = append(offers, a)
		}
	}
	s.order = offers // keeps what append may have grown
	cheaper := func(a, b int32) int {
		return cmp.Or(cmp.Compare(s.costOf(a), s.costOf(b)), cmp.Compare(a, b))
	}
	// A receiver seldom needs more than two senders: select first, and sort
	// only if it still is not served.
	for k := 0; k < len(offers) && s.supply[v] < 0; k++ {
		if k == sortAfter {
			slices.SortFunc(offers[k:], cheaper)
		}
		if k < sortAfter {
			bestAt, least := k, s.costOf(offers[k])
			for j := k + 1; j < len(offers); j++ {
				if c := s.costOf(offers[j]); c < least || c == least && offers[j] < offers[bestAt] {
					bestAt, least = j, c
				}
			}
			offers[k], offers[bestAt] = offers[bestAt], offers[k]
		}
		s.take(offers[k], v)
	}
}

// sortAfter is the number of cheapest arcs picked one by one before the rest
// are sorted.
const sortAfter = 3

// take moves as much as possible over arc a to receiver v.
func (s *Solver) take(a, v int32) {
	u := s.tail[a]
	room := s.room(a, v)
	x := min(s.supply[u], -s.supply[v], room)
	if x == 0 {
		return
	}
	s.supply[u] -= x
	s.supply[v] += x
	switch {
	case s.supply[v] == 0:
		s.connect(v, treeNode{parent: u, pred: a, up: x, down: room - x})
	case x == room:
		s.flip(a)
	default:
		s.connect(u, treeNode{parent: v, pred: a, upward: true, up: room - x, down: x})
	}
}
