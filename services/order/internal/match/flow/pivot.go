package flow

// pivot brings arc in into the basis, sending more flow from a to b, its ends.
// It says false, changing nothing, if the cycle it closes has no bound.
func (s *Solver) pivot(in, a, b int32) bool {
	full := s.full(in)
	room := s.room(in, a, b)
	s.work.Pivots++
	if room == 0 {
		s.flip(in)
		s.work.Degenerate++
		return true
	}
	// Flow runs from a to b along in, then back from b to a through the tree.
	out, join, delta, atB := s.leaving(a, b, room)
	if delta > unlimited/2 {
		s.work.Pivots--
		return false
	}
	if delta > 0 {
		s.send(a, b, join, delta)
	} else {
		s.work.Degenerate++
	}
	if out == none {
		s.flip(in)
		s.touch(in)
		return true
	}
	s.release(out)
	flow := delta
	if full {
		flow = room - delta
		s.flip(in)
	}
	// The subtree of out is cut off and hung by in: at lower, inside the
	// subtree, from upper, outside.
	lower, upper := a, b
	if atB {
		lower, upper = b, a
	}
	by := link{in, false, flow, room - flow}
	if atB == full {
		by = link{in, true, room - flow, flow}
	}
	s.rehang(lower, out, join, upper, by)
	return true
}

// rehang cuts the subtree of out off and hangs it by the link at lower, from
// upper.
func (s *Solver) rehang(lower, out, join, upper int32, by link) {
	if lower == out && s.isRestingLeaf(out) {
		s.moveLeaf(out, join, upper, by)
	} else {
		s.moveSubtree(lower, out, join, upper, by)
	}
}

// room is the capacity of arc a between u and v above its least flow. It is
// unlimited where the arc's ends bound the flow anyway.
func (s *Solver) room(a, u, v int32) int64 {
	i := s.arcOf(a)
	c := s.p.Cap[i]
	if c == Unlimited {
		return unlimited
	}
	c -= s.p.low(int(i))
	if c >= s.limit[u] || c >= s.limit[v] {
		return unlimited
	}
	return c
}

// leaving climbs from a and b to where their paths join and finds how much can
// be sent around the cycle and which arc gives out: the last blocking one in
// the direction of the flow, counted from the join, which keeps the basis
// strongly feasible and so rules out cycling. The arc is named by its lower
// node, none if the entering arc itself blocks first; atB tells on whose side.
func (s *Solver) leaving(a, b int32, room int64) (out, join int32, delta int64, atB bool) {
	node := s.node
	least, leastB := room, room
	out = none
	outB := none
	for a != b {
		ta, tb := &node[a], &node[b]
		if ta.size < tb.size {
			if ta.down < least {
				least, out = ta.down, a
			}
			a = ta.parent
		} else {
			if tb.up <= leastB {
				leastB, outB = tb.up, b
			}
			b = tb.parent
		}
	}
	if outB != none && leastB <= least {
		return outB, a, leastB, true
	}
	return out, a, least, false
}

// send moves delta around the cycle: down from join to a, up from b to join.
func (s *Solver) send(a, b, join int32, delta int64) {
	node := s.node
	for a != join {
		t := &node[a]
		t.down -= delta
		t.up += delta
		a = t.parent
	}
	for b != join {
		t := &node[b]
		t.up -= delta
		t.down += delta
		b = t.parent
	}
}

// release notes at which bound the arc above out leaves the basis.
func (s *Solver) release(out int32) {
	t := &s.node[out]
	if t.pred >= s.arcs {
		return
	}
	s.touch(t.pred)
	if t.flow() != 0 {
		s.flip(t.pred)
	}
}

// moveLeaf hangs a resting leaf elsewhere; nothing hangs from it.
func (s *Solver) moveLeaf(leaf, join, upper int32, by link) {
	t := &s.node[leaf]
	s.resizePath(t.parent, join, -1)
	s.resizePath(upper, join, 1)
	s.node[t.parent].kids--
	s.node[upper].kids++
	s.connect(leaf, upper, by)
	s.value[leaf] = s.offset(leaf)
	s.base[leaf] = upper
}

// resizePath adds k to the sizes from u up to, not including, join.
func (s *Solver) resizePath(u, join, k int32) {
	node := s.node
	for u != join {
		t := &node[u]
		t.size += k
		u = t.parent
	}
}

// connect hangs u from the parent by the link.
func (s *Solver) connect(u, parent int32, by link) {
	t := &s.node[u]
	t.parent, t.pred, t.upward, t.up, t.down = parent, by.pred, by.upward, by.up, by.down
}

// moveSubtree turns the subtree of out around so that lower is its top, hangs
// it by the link from upper, and shifts its potentials.
func (s *Solver) moveSubtree(lower, out, join, upper int32, by link) {
	reduced := s.treeCost(by.pred)
	if by.upward {
		reduced += s.pot(lower) - s.pot(upper)
	} else {
		reduced = s.pot(lower) - s.pot(upper) - reduced
	}
	if s.grouped {
		s.wakeResting(lower)
		s.wakeResting(upper)
	}
	old := s.node[out].parent
	size := s.node[out].size
	s.resizePath(old, join, -size)
	s.resizePath(upper, join, size)
	s.rethread(lower, out, upper, by)
	if s.grouped {
		s.node[upper].kids++
		s.node[lower].kids++
		s.loseKid(out)
		s.loseKid(old)
	}
	s.shiftSide(lower, -reduced)
}

// wakeResting wakes u if it is a resting leaf.
func (s *Solver) wakeResting(u int32) {
	if s.isRestingLeaf(u) {
		s.wake(u)
	}
}

// loseKid settles u if it has lost its last child.
func (s *Solver) loseKid(u int32) {
	s.node[u].kids--
	if s.isRestingLeaf(u) {
		s.settle(u)
	}
}

// shiftSide adds to the potentials of top and all below it, or takes as much
// from all others if they are fewer: only differences matter.
func (s *Solver) shiftSide(top int32, by int64) {
	value, thread := s.value, s.thread
	last := s.node[top].last
	if int(s.node[top].size) <= len(value)/2 {
		value[top] += by
		for u := top; u != last; {
			u = thread[u]
			value[u] += by
		}
		return
	}
	for u := thread[last]; u != top; u = thread[u] {
		value[u] -= by
	}
	if v := value[s.root()]; v > maxDrift || v < -maxDrift {
		s.refreshPotentials()
	}
}

// maxDrift bounds how far the root's potential may wander from 0. The others
// are within half of that from it.
const maxDrift int64 = 1 << 60

// rethread reverses the path from lower up to out and moves the subtree's run
// of the thread behind upper. For each node of the path its own run,
// less the run of the child it came from, is appended to the run so far.
func (s *Solver) rethread(lower, out, upper int32, by link) {
	node, thread, back := s.node, s.thread, s.back
	old, size := node[out].parent, node[out].size

	before, last := back[out], node[out].last
	after := thread[last]
	thread[before], back[after] = after, before
	s.moveLast(old, last, before)

	tail := node[lower].last // end of the run so far
	end, follow := tail, thread[tail]
	prior := back[lower]
	below := node[lower].size
	t := &node[lower]
	w, hold := t.parent, link{t.pred, t.upward, t.up, t.down}
	s.connect(lower, upper, by)
	node[lower].size = size
	for u := lower; u != out; {
		t := &node[w]
		above, next, wBack := t.parent, link{t.pred, t.upward, t.up, t.down}, back[w]
		thread[tail], back[w] = w, tail
		if t.last != end {
			thread[prior], back[follow] = follow, prior
			end, follow = t.last, thread[t.last]
			tail = end
		} else {
			tail = prior
		}
		t.parent, t.pred, t.upward, t.up, t.down = u, hold.pred, !hold.upward, hold.down, hold.up
		t.size, below = size-below, t.size
		prior, hold, u, w = wBack, next, w, above
	}
	for u := out; u != lower; u = node[u].parent {
		node[u].last = tail
	}
	node[lower].last = tail

	after = thread[upper]
	thread[upper], back[lower] = lower, upper
	thread[tail], back[after] = after, tail
	s.moveLast(upper, upper, tail)
}
