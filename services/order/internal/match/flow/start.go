package flow

import (
	"cmp"
	"slices"
)

// start builds the first basis. Every node hangs from the root by an artificial
// arc unless something better is known, and two ways to that were measured.
// Where many receivers have the same cheapest senders, or arcs are few, each in
// turn takes what is still there, which leaves the search much less to undo.
// Elsewhere that makes long chains of half used senders, so that every cycle
// through the tree is long: there the cheapest arc of each node enters the
// basis.
func (s *Solver) start() {
	if s.greedy {
		s.unhook()
		s.takeAll()
		s.gather()
		return
	}
	s.star()
	s.enter(s.findCheapest())
}

// findCheapest returns for each node with demand the cheapest arc in, for each
// with supply the cheapest arc out, and none for the others.
func (s *Solver) findCheapest() []int32 {
	cheapest := s.count[:len(s.supply)]
	for u := range cheapest {
		cheapest[u] = none
	}
	supply := s.supply
	if !s.grouped {
		heads := s.head[:s.arcs]
		for a, u := range s.tail[:s.arcs] {
			v := heads[a]
			if supply[v] < 0 {
				s.cheaper(&cheapest[v], int32(a))
			}
			if supply[u] > 0 {
				s.cheaper(&cheapest[u], int32(a))
			}
		}
		return cheapest
	}
	for _, g := range s.groups {
		wants := supply[g.head] < 0
		for a := g.start; a < g.end; a++ {
			if wants {
				s.cheaper(&cheapest[g.head], a)
			}
			if u := s.tail[a]; supply[u] > 0 {
				s.cheaper(&cheapest[u], a)
			}
		}
	}
	return cheapest
}

// cheaper makes best a if that is the cheaper arc.
func (s *Solver) cheaper(best *int32, a int32) {
	if b := *best; b == none || s.costOf(a) < s.costOf(b) {
		*best = a
	}
}

// takeAll lets one receiver after another take what it needs from the cheapest
// senders that still have some.
//
// Each step uses up either the sender or the receiver (or fills an arc, which
// then stays outside the tree at capacity); the one used up hangs from the
// other and is never touched again, so that no cycle forms. An arc that leads
// up from a sender used up has room left, one that leads down to a receiver
// used up carries flow: the basis is strongly feasible.
//
// Those with the fewest senders to choose from come first: later they would
// find theirs used up, while the others can go elsewhere. That measured a
// quarter fewer pivots on delivery days.
func (s *Solver) takeAll() {
	n := len(s.supply)
	end, next := s.count[:n], s.count[n:]
	if s.reversed {
		end, next = next, end
	}
	start := func(v int32) int32 {
		if v == 0 {
			return 0
		}
		return end[v-1]
	}
	// By number of arcs, a list of receivers in order of their numbers.
	var lists [manyChoices + 1]int32
	for k := range lists {
		lists[k] = none
	}
	for v := int32(n - 1); v >= 0; v-- {
		if s.supply[v] < 0 {
			k := min(end[v]-start(v), manyChoices)
			next[v], lists[k] = lists[k], v
		}
	}
	for _, v := range lists {
		for ; v != none; v = next[v] {
			s.takeCheapest(v, start(v), end[v])
		}
	}
}

// manyChoices is the number of arcs from which on one more makes no difference.
const manyChoices = 64

// enter brings the given arcs into the basis, except where one costs more than
// what is there.
func (s *Solver) enter(arcs []int32) {
	for u, a := range arcs {
		if a == none || s.full(a) {
			continue
		}
		tail, head := s.tail[a], int32(u)
		if s.supply[u] > 0 {
			_, head = s.ends(s.p, s.input[a])
		}
		if s.costOf(a)+s.pot(tail)-s.pot(head) < 0 && !s.pivot(a, tail, head) {
			return // no bound: the search finds it again
		}
	}
}

// takeCheapest serves receiver v from the arcs first..end-1.
func (s *Solver) takeCheapest(v, first, end int32) {
	var best int32
	if s.narrow {
		best = cheapestOffer(s.tail[first:end], s.cost32[first:end], s.supply)
	} else {
		best = cheapestOffer(s.tail[first:end], s.cost64[first:end], s.supply)
	}
	if best == none {
		return
	}
	s.take(first+best, v)
	if s.supply[v] < 0 {
		s.takeMore(v, first, end)
	}
}

// cheapestOffer returns which of the arcs into one receiver is the cheapest of
// those whose sender has something left.
func cheapestOffer[C int32 | int64](tails []int32, costs []C, supply []int64) int32 {
	best := none
	var least C
	costs = costs[:len(tails)]
	for k, u := range tails {
		// The tail of an arc that is full is a complement or a receiver.
		if v := uint32(u); uint(v) < uint(len(supply)) && supply[v] > 0 && (best == none || costs[k] < least) {
			best, least = int32(k), costs[k]
		}
	}
	return best
}

// takeMore serves receiver v after its cheapest sender is used up.
func (s *Solver) takeMore(v, first, end int32) {
	offers := s.order[:0]
	for a := first; a < end; a++ {
		if u := s.tail[a]; u >= 0 && s.supply[u] > 0 {
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
const sortAfter = 2

// take moves as much as possible over arc a to receiver v.
func (s *Solver) take(a, v int32) {
	u := s.tail[a]
	room := s.room(a, u, v)
	x := min(s.supply[u], -s.supply[v], room)
	if x == 0 {
		return
	}
	s.supply[u] -= x
	s.supply[v] += x
	switch {
	case s.supply[v] == 0:
		s.connect(v, u, link{a, false, x, room - x})
		s.adopt(u, v)
	case x == room:
		s.flip(a)
	default:
		s.connect(u, v, link{a, true, room - x, x})
		s.adopt(v, u)
	}
}
