package flow

// affect puts u and the nodes above it among those to mend.
func (s *Solver) affect(u int32) {
	for root := s.root(); u != root && s.pending[u] == none; u = s.node[u].parent {
		s.pending[u] = 0
		s.affected = append(s.affected, u)
	}
}

// mend sends what is left over at each node, in s.supply, up the tree, children
// before parents. An arc that cannot carry its part is put to its nearest bound
// and its subtree hung from the root, by an artificial arc that takes the rest.
func (s *Solver) mend() {
	root := s.root()
	for _, u := range s.affected {
		if p := s.node[u].parent; p != root {
			s.pending[p]++
		}
	}
	for _, first := range s.affected {
		for u := first; u != root && s.pending[u] == 0; {
			s.pending[u] = none
			parent := s.node[u].parent
			s.mendArc(u)
			if u = parent; u != root {
				s.pending[u]--
			}
		}
	}
	s.affected = s.affected[:0]
}

// mendArc adds what is left over at u to the flow on the arc above it.
func (s *Solver) mendArc(u int32) {
	t := &s.node[u]
	before := t.down
	if !t.upward {
		before = -t.up
	}
	need := before + s.supply[u]
	if t.pred >= s.arcs {
		s.mendArtificial(u, need)
		return
	}
	sent, keep := t.fit(need, t.up+t.down)
	if t.parent != s.root() {
		s.supply[t.parent] += sent - before
	}
	if keep {
		return
	}
	s.touch(t.pred)
	if sent != 0 {
		s.flip(t.pred)
	}
	s.rehang(u, u, s.root(), s.root(), s.artificial(u, need-sent))
}

// mendArtificial gives the artificial arc above u the flow need, turning it
// around where its sign has changed.
func (s *Solver) mendArtificial(u int32, need int64) {
	before := s.offset(u)
	s.connect(u, s.root(), s.artificial(u, need))
	if by := s.offset(u) - before; by != 0 {
		s.shift(u, by)
	}
}

// shift adds to the potential of u and of all below it.
func (s *Solver) shift(u int32, by int64) {
	if s.isRestingLeaf(u) {
		s.value[u] += by
	} else {
		s.shiftSide(u, by)
	}
}
