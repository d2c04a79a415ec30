package flow

import "slices"

// standing is what Change needs beside the basis: the problem it alters, and
// scratch memory.
type standing struct {
	held  *Problem // last checked, kept for Change
	size  size     // of held; dearest may be more than the costs need
	total sum128   // cost of the last result

	place  []int32 // of the Problem's arc in the layout, none for a self-loop
	placed bool    // place belongs to the present layout

	was      Change  // what stood before the entries of a Change
	refill   []int32 // full arcs whose terms change
	grown    []bool  // by node: its limit was raised
	pending  []int32 // by node: children still to mend; none outside mend
	tracking bool    // whether touch counts
	touched  []int32 // arcs that left the tree or went from bound to bound
	missed   bool    // there were more than fit
	changed  []int32 // arcs whose flow has changed
}

// touch notes an arc outside the tree whose flow may have changed. It never
// takes memory: it runs in the pivot loop.
func (s *Solver) touch(a int32) {
	switch {
	case !s.tracking:
	case len(s.touched) == cap(s.touched):
		s.missed = true
	default:
		s.touched = append(s.touched, a)
	}
}

// findPlaces fills s.place.
func (s *Solver) findPlaces() {
	if s.placed {
		return
	}
	s.place = resize(s.place, s.p.Arcs())
	if int(s.arcs) < len(s.place) {
		for i := range s.place {
			s.place[i] = none
		}
	}
	for a := range s.arcs {
		s.place[s.arcOf(a)] = a
	}
	s.placed = true
}

// takeIn takes the entries of c, which stand in the problem already, into the
// solver. What the basis then leaves over at a node is put into s.supply, and
// nodes whose arc to the parent has to be looked at are put into s.order.
func (s *Solver) takeIn(c Change) error {
	n := len(s.supply)
	s.work = Progress{}
	s.maxPenalty = s.size.maxPenalty(n)
	s.missed = false
	room := 2*n + len(c.Arcs)
	s.touched, s.changed, s.refill = resize(s.touched, room)[:0], resize(s.changed, room)[:0], s.refill[:0]
	if len(s.pending) != n {
		s.grown, s.pending = make([]bool, n), make([]int32, n)
		for u := range s.pending {
			s.pending[u] = none
		}
	}
	clear(s.supply)
	if err := s.reprice(c.Arcs); err != nil {
		return err
	}
	grew := false
	for k, e := range c.Supplies {
		d := e.Supply - s.was.Supplies[k].Supply
		if s.reversed {
			d = -d
		}
		s.supply[e.Node] += d
		grew = s.grow(e.Node, d) || grew
		s.affect(e.Node)
	}
	dearer, wider := s.takeInArcs(c.Arcs)
	if grew || wider {
		s.refitGrown()
	}
	if dearer {
		s.refreshPotentials()
	}
	return nil
}

// reprice takes in new costs, and the new flow of self-loops.
func (s *Solver) reprice(arcs []ArcTerms) error {
	if len(arcs) == 0 {
		return nil
	}
	s.findPlaces()
	for k, e := range arcs {
		s.total.addProduct(s.flow[e.Arc], e.Cost-s.was.Arcs[k].Cost)
		if a := s.place[e.Arc]; a != none {
			s.setCost(a, e.Cost)
		}
	}
	for _, e := range arcs {
		if s.place[e.Arc] != none {
			continue
		}
		x, err := s.p.loopFlow(int(e.Arc))
		if err != nil {
			return err
		}
		s.note(e.Arc, x)
	}
	return nil
}

// takeInArcs takes in new bounds. It says whether the cost of a tree arc
// changed and whether the limit of a node was raised.
func (s *Solver) takeInArcs(arcs []ArcTerms) (dearer, grew bool) {
	for k, e := range arcs {
		a, was := s.place[e.Arc], s.was.Arcs[k]
		if a == none {
			continue
		}
		tail, head := s.ends(s.p, e.Arc)
		if s.full(a) {
			s.flip(a)
			s.move(tail, head, was.Low-was.Cap)
			s.refill = append(s.refill, a)
		}
		if d := e.Low - was.Low; d != 0 {
			s.move(tail, head, d)
			grew = s.grow(tail, -d) || grew
			grew = s.grow(head, d) || grew
		}
		dearer = dearer || e.Cost != was.Cost && s.lower(a, tail, head) != none
	}
	// Only now are all bounds and limits what they will be.
	for _, a := range s.refill {
		tail, head := s.ends(s.p, s.arcOf(a))
		if room := s.room(a, tail, head); room != unlimited {
			s.flip(a)
			s.move(tail, head, room)
		}
	}
	for _, e := range arcs {
		if a := s.place[e.Arc]; a != none {
			s.refitArc(a)
		}
	}
	return dearer, grew
}

// refitArc fits arc a to its new bounds.
func (s *Solver) refitArc(a int32) {
	tail, head := s.ends(s.p, s.arcOf(a))
	if u := s.lower(a, tail, head); u != none {
		s.refit(u)
	} else {
		s.touch(a)
	}
}

// move makes d more leave tail and arrive at head outside the tree.
func (s *Solver) move(tail, head int32, d int64) {
	s.supply[tail] -= d
	s.supply[head] += d
	s.affect(tail)
	s.affect(head)
}

// grow raises the limit of u after its supply rose by d, and says whether it
// did. A limit is never lowered: too high it is still one.
func (s *Solver) grow(u int32, d int64) bool {
	if !s.sends[u] {
		d = -d
	} else if s.receives[u] {
		return false
	}
	if d <= 0 {
		return false
	}
	s.limit[u] = min(s.limit[u]+d, unlimited)
	s.grown[u] = true
	return true
}

// refitGrown looks at all tree arcs of nodes whose limit was raised: an arc
// that was as good as unlimited may have a capacity that counts now.
func (s *Solver) refitGrown() {
	for u := range s.supply {
		t := &s.node[u]
		if t.pred < s.arcs && (s.grown[u] || s.grown[t.parent]) {
			s.refit(int32(u))
		}
	}
	clear(s.grown)
}

// refit gives the arc above u the room it has now; mend makes good what that
// upsets.
func (s *Solver) refit(u int32) {
	t := &s.node[u]
	room := s.room(t.pred, u, t.parent)
	if t.upward {
		t.up = room - t.down
	} else {
		t.down = room - t.up
	}
	s.affect(u)
}

// lower returns the node that hangs by arc a, none if it is not a tree arc.
func (s *Solver) lower(a, tail, head int32) int32 {
	switch a {
	case s.node[tail].pred:
		return tail
	case s.node[head].pred:
		return head
	}
	return none
}

// update writes what has changed since the last result into it.
func (s *Solver) update(opts Options) (Update, error) {
	if s.missed {
		r, err := s.result(opts)
		return Update{Result: r, All: err == nil}, err
	}
	p := s.p
	for u := range p.Supply {
		if t := &s.node[u]; t.pred < s.arcs {
			i := s.arcOf(t.pred)
			s.note(i, p.low(int(i))+t.flow())
		}
	}
	for _, a := range s.touched {
		i := s.arcOf(a)
		tail, head := s.ends(p, i)
		switch {
		case s.lower(a, tail, head) != none:
		case s.full(a):
			s.note(i, p.Cap[i])
		default:
			s.note(i, p.low(int(i)))
		}
	}
	slices.Sort(s.changed)
	r, err := s.finish(opts)
	return Update{Result: r, Arcs: s.changed}, err
}

// note gives the Problem's arc i the flow x.
func (s *Solver) note(i int32, x int64) {
	if d := x - s.flow[i]; d != 0 {
		s.flow[i] = x
		s.total.addProduct(d, s.p.Cost[i])
		s.changed = append(s.changed, i)
	}
}
