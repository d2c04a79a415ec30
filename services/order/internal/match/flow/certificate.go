package flow

import (
	"context"
	"slices"
)

// balanced returns *InfeasibleError unless the supplies sum to 0.
func balanced(p *Problem) error {
	var sum int64
	for _, b := range p.Supply {
		sum += b
	}
	if sum == 0 {
		return nil
	}
	all := make([]int32, p.Nodes())
	for u := range all {
		all[u] = int32(u)
	}
	return &InfeasibleError{Nodes: all, Excess: sum}
}

// infeasible reads the proof off a basis that is optimal at maxPenalty.
//
// Every node hangs from one artificial arc; maxPenalty exceeds what real arcs
// can add, so that the sign of a node's potential tells the direction of that
// arc. An arc from a node of negative potential to one of positive potential
// then has a negative reduced cost and is full, one the other way is at its
// least flow, and still something is left over: the nodes of negative
// potential are a set whose supply cannot leave.
func (s *Solver) infeasible() error {
	p, root := s.p, s.root()
	e := &InfeasibleError{}
	inside := func(u int32) bool { return (s.pot(u) < s.pot(root)) != s.reversed }
	for u, b := range p.Supply {
		if inside(int32(u)) {
			e.Nodes = append(e.Nodes, int32(u))
			e.Excess += b
		}
	}
	for i, u := range p.From {
		switch from, to := inside(u), inside(p.To[i]); {
		case from && !to:
			e.Excess -= p.Cap[i]
		case to && !from:
			e.Excess += p.low(i)
		}
	}
	return e
}

// unbounded returns the cycle e, provided that the problem has a flow at all;
// otherwise it proves that there is none.
func (s *Solver) unbounded(ctx context.Context, e *UnboundedError, opts Options) error {
	if !s.unmet() {
		return e
	}
	work := s.work
	s.loadCosts(s.p, s.size.dearest, true)
	s.penalty, s.maxPenalty = 1, 1
	s.refreshPotentials()
	if _, err := s.improve(ctx, opts); err != nil {
		return err
	}
	s.work.Pivots += work.Pivots
	if s.unmet() {
		return s.infeasible()
	}
	return e
}

// cycle lists the arcs of the cycle that in, which is not full, closes from
// tail to head, in the direction in which flow on it lowers the cost.
func (s *Solver) cycle(in, tail, head int32) *UnboundedError {
	_, join, _, _ := s.leaving(tail, head, unlimited)
	e := &UnboundedError{}
	add := func(a int32) {
		if a >= s.arcs {
			return // artificial: the penalty is still too small
		}
		e.Arcs = append(e.Arcs, s.arcOf(a))
		e.Cost += s.costOf(a)
	}
	for u := tail; u != join; u = s.node[u].parent {
		add(s.node[u].pred)
	}
	slices.Reverse(e.Arcs) // climbed from the tail, but flow runs down to it
	add(in)
	for u := head; u != join; u = s.node[u].parent {
		add(s.node[u].pred)
	}
	if s.reversed {
		slices.Reverse(e.Arcs)
	}
	return e
}
