package flow

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// Change says which numbers of a solved Problem become others. Where a node or
// an arc is named twice, the later entry holds.
type Change struct {
	Supplies []NodeSupply
	Arcs     []ArcTerms
}

// NodeSupply is the new supply of a node, in units of flow.
type NodeSupply struct {
	Node   int32
	Supply int64
}

// ArcTerms are the new bounds and cost of an arc, as in Problem.
type ArcTerms struct {
	Arc            int32
	Low, Cap, Cost int64
}

// Update is a Result together with what has changed in it.
type Update struct {
	// Result is whole and can be given to Verify. Its slices are the ones of
	// the last Result, with new entries where something changed.
	Result
	// Arcs whose flow is not what it was, in increasing order; it holds until
	// the Solver's next call.
	Arcs []int32
	// All is set where the Solver had to start over: then any flow may be
	// another, and Arcs is empty.
	All bool
}

// Change writes c into the Problem that was last given to Solve or Resolve and
// finds a least-cost flow of it, starting from the last basis. It reads only
// what c names and what the basis touches, then prices the arcs once more: for
// small changes that is quicker than Resolve, which reads the Problem anew. The
// cost is that of Solve; where several flows are optimal the flow may differ.
// The first Change that names arcs takes a pass over all arcs to find them.
//
// Between the calls neither the Problem nor the slices of the last Result may
// have been altered by anyone else.
//
// After *MalformedError (also where there is no such Problem) or
// *OverflowError nothing has changed, and the last Result stands. After
// *InfeasibleError, *UnboundedError or the context's error, the Problem holds
// what c says, and the next call starts from scratch.
func (s *Solver) Change(ctx context.Context, c Change, opts Options) (Update, error) {
	p := s.held
	if p == nil {
		return Update{}, &MalformedError{Arc: -1, What: "there is no solved problem to change; call Solve first"}
	}
	if err := s.apply(c); err != nil {
		return Update{}, err
	}
	if !s.ready || s.outgrown(c) {
		r, err := s.Resolve(ctx, p, opts)
		return Update{Result: r, All: err == nil}, err
	}
	s.ready = false
	if err := balanced(p); err != nil {
		return Update{}, err
	}
	s.p, s.tracking = p, true
	defer func() { s.p, s.tracking = nil, false }()
	if err := s.takeIn(c); err != nil {
		return Update{}, err
	}
	s.mend()
	if err := s.optimise(ctx, opts); err != nil {
		return Update{}, err
	}
	return s.update(opts)
}

// outgrown says whether a new cost does not fit the narrow costs in use.
func (s *Solver) outgrown(c Change) bool {
	return s.narrow && slices.ContainsFunc(c.Arcs, func(t ArcTerms) bool { return abs(t.Cost) > math.MaxInt32 })
}

// apply writes c into the standing problem and keeps in s.was what stood there
// before each entry. If c is refused, nothing has changed.
func (s *Solver) apply(c Change) error {
	p, before := s.held, s.size
	s.was.Supplies, s.was.Arcs = s.was.Supplies[:0], s.was.Arcs[:0]
	err := s.write(c)
	if err == nil {
		return nil
	}
	for _, w := range slices.Backward(s.was.Arcs) {
		p.setArc(w)
	}
	for _, w := range slices.Backward(s.was.Supplies) {
		p.Supply[w.Node] = w.Supply
	}
	s.size = before
	return err
}

func (s *Solver) write(c Change) error {
	p := s.held
	for _, e := range c.Supplies {
		if e.Node < 0 || int(e.Node) >= p.Nodes() {
			return &MalformedError{Arc: -1, What: fmt.Sprintf("a change of node %d, but nodes go from 0 to %d", e.Node, p.Nodes()-1)}
		}
		old := p.Supply[e.Node]
		if !s.size.swap(abs(old), abs(e.Supply)) {
			return &OverflowError{Arc: -1, Node: int(e.Node), What: tooMuch("supply", e.Supply)}
		}
		s.was.Supplies = append(s.was.Supplies, NodeSupply{e.Node, old})
		p.Supply[e.Node] = e.Supply
	}
	for _, e := range c.Arcs {
		if err := s.writeArc(e); err != nil {
			return err
		}
	}
	return nil
}

func (s *Solver) writeArc(e ArcTerms) error {
	p := s.held
	i := int(e.Arc)
	if i < 0 || i >= p.Arcs() {
		return &MalformedError{Arc: -1, What: fmt.Sprintf("a change of arc %d, but arcs go from 0 to %d", i, p.Arcs()-1)}
	}
	if e.Cap < e.Low {
		return &MalformedError{Arc: i, What: fmt.Sprintf("capacity %d is below the least flow %d", e.Cap, e.Low)}
	}
	if most := MaxPathCost / int64(p.Nodes()+2); abs(e.Cost) > uint64(most) {
		return &OverflowError{Arc: i, Node: -1, What: tooDear(e.Cost, p.Nodes())}
	}
	old := ArcTerms{e.Arc, p.low(i), p.Cap[i], p.Cost[i]}
	if !s.size.swap(abs(old.Low), abs(e.Low)) {
		return &OverflowError{Arc: i, Node: -1, What: tooMuch("least flow", e.Low)}
	}
	if !s.size.swap(finite(old.Cap), finite(e.Cap)) {
		return &OverflowError{Arc: i, Node: -1, What: tooMuch("capacity", e.Cap)}
	}
	s.size.dearest = max(s.size.dearest, int64(abs(e.Cost)))
	s.was.Arcs = append(s.was.Arcs, old)
	p.setArc(e)
	return nil
}

// setArc writes the terms of an arc.
func (p *Problem) setArc(e ArcTerms) {
	if p.Low == nil && e.Low != 0 {
		p.Low = make([]int64, p.Arcs())
	}
	if p.Low != nil {
		p.Low[e.Arc] = e.Low
	}
	p.Cap[e.Arc], p.Cost[e.Arc] = e.Cap, e.Cost
}
