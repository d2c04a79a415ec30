package flow

import "context"

// Resolve finds a least-cost flow of p, starting from the basis of the last
// successful Solve or Resolve. It is meant for a problem with the same nodes
// and the same From and To in the same order, but other supplies, bounds or
// costs; after small changes it takes a small part of the time of Solve. The
// cost is the same as Solve's; where several flows are optimal the flow may
// differ. Given any other network, or after a failure, it is Solve. Errors are
// those of Solve.
func (s *Solver) Resolve(ctx context.Context, p *Problem, opts Options) (Result, error) {
	if !s.ready {
		return s.Solve(ctx, p, opts)
	}
	if err := s.accept(p); err != nil {
		s.ready = false
		return Result{}, err
	}
	if !s.fits(p) {
		return s.Solve(ctx, p, opts)
	}
	s.ready = false
	if err := balanced(p); err != nil {
		return Result{}, err
	}
	s.p = p
	defer func() { s.p = nil }()
	s.load()
	s.repair()
	s.hang()
	s.build()
	if err := s.optimise(ctx, opts); err != nil {
		return Result{}, err
	}
	return s.result(opts)
}

// fits says whether p has the nodes and arcs of the last problem.
func (s *Solver) fits(p *Problem) bool {
	if p.Nodes() != len(s.supply) || p.Arcs() != len(s.flow) {
		return false
	}
	tails, heads := p.From, p.To
	if s.reversed {
		tails, heads = heads, tails
	}
	if s.grouped {
		for _, g := range s.groups {
			for a := g.start; a < g.end; a++ {
				u := s.tail[a]
				if i := s.arcOf(a); heads[i] != g.head || tails[i] != u^u>>31 {
					return false
				}
			}
		}
	} else {
		for a := range s.arcs {
			tail, head := s.tail[a], s.head[a]
			if s.full(a) {
				tail, head = head, tail
			}
			if i := s.arcOf(a); heads[i] != head || tails[i] != tail {
				return false
			}
		}
	}
	return int(s.arcs) == p.Arcs() || int(s.arcs) == p.Arcs()-loops(p)
}

// loops counts the self-loops of p.
func loops(p *Problem) int {
	k := 0
	for i, u := range p.From {
		if u == p.To[i] {
			k++
		}
	}
	return k
}

// repair recomputes the flow of the basis from the leaves up. A tree arc that
// can no longer carry what its subtree needs is put to its nearest bound, and
// its node left without a parent, for an artificial arc to take the rest.
func (s *Solver) repair() {
	for a := range s.allFull {
		tail, head := s.ends(s.p, s.arcOf(a))
		room := s.room(a, tail, head)
		if room == unlimited {
			s.flip(a)
			continue
		}
		s.supply[tail] -= room
		s.supply[head] += room
	}
	s.parentsFirst()
	for k := len(s.order) - 1; k > 0; k-- {
		s.repairArc(s.order[k])
	}
}

// repairArc sets the flow on the arc above u, whose subtree must send
// supply[u] up it, or cuts it off.
func (s *Solver) repairArc(u int32) {
	t := &s.node[u]
	if t.pred >= s.arcs {
		t.parent = none
		return
	}
	sent, keep := t.fit(s.supply[u], s.room(t.pred, u, t.parent))
	s.supply[t.parent] += sent
	if keep {
		return
	}
	s.supply[u] -= sent
	if sent != 0 {
		s.flip(t.pred)
	}
	t.parent = none
}

// fit gives the arc to the parent, of the given room, the flow need upward, or
// as much of it as it can carry, and returns that. It says whether the arc may
// stay in the tree, which must be strongly feasible: an arc upward has room
// left, an arc downward carries flow.
func (t *treeNode) fit(need, room int64) (sent int64, keep bool) {
	if t.upward {
		sent = min(max(need, 0), room)
		t.up, t.down = room-sent, sent
		return sent, sent == need && sent < room
	}
	sent = -min(max(-need, 0), room)
	t.up, t.down = -sent, room+sent
	return sent, sent == need && sent < 0
}
