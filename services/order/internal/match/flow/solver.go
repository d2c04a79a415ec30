package flow

import (
	"context"
	"fmt"
)

// Options of a solve. The zero value is usable.
type Options struct {
	// Progress, if set, is called from time to time (every few thousand
	// pivots) and once at the end. It must not call the Solver.
	Progress func(Progress)
	// Frugal gives the basis back once the answer is found, for a problem that
	// is solved only once: it spares 8 bytes an arc at the peak, for some
	// milliseconds of collecting memory. The next call starts from scratch.
	Frugal bool
}

// Progress tells how far a solve has come.
type Progress struct {
	// Pivots so far; Degenerate ones among them moved no flow.
	Pivots, Degenerate int64
	// Scanned counts reduced costs computed.
	Scanned int64
}

// Result is an optimal flow and its proof. Its slices belong to the Solver
// and hold until its next call.
type Result struct {
	// Flow on each arc, in units, between Low and Cap.
	Flow []int64
	// Potential of each node, in cost per unit. With the reduced cost
	// Cost + Potential[From] - Potential[To], an arc of positive reduced cost
	// is at its least flow and one of negative reduced cost at capacity.
	Potential []int64
	// Cost is the sum of Flow times Cost.
	Cost int64
	// Work done.
	Work Progress
}

// checkEvery is the number of pivots between looks at the context; it also
// paces Progress. At a few microseconds each that is about every 10 ms.
const checkEvery = 4096

// Solver solves problems one after another and keeps its memory between them.
// The zero value is ready. It is not safe for use by several goroutines.
type Solver struct {
	p *Problem // the problem being solved; nil between solves

	layout
	tree
	standing

	// penalty is the cost per unit of an artificial arc. It starts near the
	// dearest arc and is raised only while flow remains on artificial arcs.
	penalty, maxPenalty int64

	supply []int64 // of each node after least flows, in solver direction
	limit  []int64 // most that any one arc of the node can carry, see bound
	spares spares
	next   int // where pricing goes on: a group or an arc
	work   Progress

	flow, potential []int64
	order           []int32 // scratch: nodes, parents first
	affected        []int32 // nodes to mend, see mend
	ready           bool    // tree and layout hold the basis of a finished solve
}

// Solve finds a least-cost flow of p from scratch. It returns *MalformedError
// or *OverflowError for a problem that is refused, *InfeasibleError or
// *UnboundedError with a proof, or the context's error, wrapped, when ctx ends
// first.
func (s *Solver) Solve(ctx context.Context, p *Problem, opts Options) (Result, error) {
	s.ready = false
	if err := s.accept(p); err != nil {
		return Result{}, err
	}
	if err := balanced(p); err != nil {
		return Result{}, err
	}
	s.p = p
	defer func() { s.p = nil }()
	s.tree.reset(len(p.Supply))
	s.arrange(p)
	s.placed = false
	s.load()
	s.start()
	if err := s.optimise(ctx, opts); err != nil {
		return Result{}, err
	}
	return s.result(opts)
}

// accept checks p and makes it the standing problem.
func (s *Solver) accept(p *Problem) (err error) {
	s.held = nil
	if s.size, err = p.check(); err == nil {
		s.held = p
	}
	return err
}

// load takes the numbers of the problem, as opposed to its shape, into the
// arrays of the solver.
func (s *Solver) load() {
	s.loadCosts(s.p, s.size.dearest, false)
	s.penalty = max(s.size.dearest/4, 1)
	if s.greedy || s.arcs < fewArcs {
		s.penalty = max(s.size.dearest, 1)
	}
	s.maxPenalty = s.size.maxPenalty(len(s.p.Supply))
	s.supply = resize(s.supply, len(s.p.Supply))
	copy(s.supply, s.p.Supply)
	for i, low := range s.p.Low {
		s.supply[s.p.From[i]] -= low
		s.supply[s.p.To[i]] += low
	}
	if s.reversed {
		for u := range s.supply {
			s.supply[u] = -s.supply[u]
		}
	}
	s.bound()
	s.work = Progress{}
	s.next, s.spares.n = 0, 0
}

// bound sets what the arcs of a node can carry at most in any flow: where all
// its arcs enter, its demand; where all leave, its supply.
func (s *Solver) bound() {
	n := len(s.supply)
	s.limit = resize(s.limit, n)
	limit, sends, receives := s.limit, s.sends[:n], s.receives[:n]
	for u, b := range s.supply {
		switch {
		case !sends[u]:
			limit[u] = max(-b, 0)
		case !receives[u]:
			limit[u] = max(b, 0)
		default:
			limit[u] = unlimited
		}
	}
}

// optimise improves the basis until it is optimal.
func (s *Solver) optimise(ctx context.Context, opts Options) error {
	for {
		cycle, err := s.improve(ctx, opts)
		switch {
		case err != nil:
			return err
		case cycle != nil && s.raisePenalty():
			// The cycle may owe its negative cost to a penalty still too small.
		case cycle != nil:
			return s.unbounded(ctx, cycle, opts)
		case !s.unmet():
			return nil
		case !s.raisePenalty():
			return s.infeasible()
		}
	}
}

// improve pivots until no arc has a negative reduced cost, or until a cycle of
// negative cost has no bound, and returns that.
func (s *Solver) improve(ctx context.Context, opts Options) (*UnboundedError, error) {
	for {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("flow: stopped after %d pivots: %w", s.work.Pivots, err)
		}
		for range checkEvery {
			in, from, to := s.price()
			if in == none {
				return nil, nil
			}
			if !s.pivot(in, from, to) {
				return s.cycle(in, from, to), nil
			}
		}
		if opts.Progress != nil {
			opts.Progress(s.work)
		}
	}
}

// unmet says whether flow remains on an artificial arc.
func (s *Solver) unmet() bool {
	for u := range s.supply {
		if a := &s.node[u]; a.pred >= s.arcs && a.flow() > 0 {
			return true
		}
	}
	return false
}

// raisePenalty makes artificial arcs dearer and says whether it could.
// Beyond maxPenalty no path of real arcs is dearer than an artificial one, and
// raising it further would change nothing.
func (s *Solver) raisePenalty() bool {
	if s.penalty >= s.maxPenalty {
		return false
	}
	if s.penalty > s.maxPenalty/4 {
		s.penalty = s.maxPenalty
	} else {
		s.penalty *= 4
	}
	s.refreshPotentials()
	return true
}

// result reads flows, potentials and cost off the optimal basis.
func (s *Solver) result(opts Options) (Result, error) {
	if opts.Frugal {
		return s.resultFrugal(opts)
	}
	s.flow = resize(s.flow, s.p.Arcs())
	s.potential = resize(s.potential, s.p.Nodes())
	if err := s.readFlows(); err != nil {
		return Result{}, err
	}
	return s.finish(opts)
}

// finish reads the potentials and hands the result over.
func (s *Solver) finish(opts Options) (Result, error) {
	above := s.pot(s.root())
	for u := range s.potential {
		s.potential[u] = s.pot(int32(u)) - above
		if s.reversed {
			s.potential[u] = -s.potential[u]
		}
	}
	cost, ok := s.total.int64()
	if !ok {
		return Result{}, &OverflowError{Arc: -1, Node: -1, What: "the total cost does not fit in 64 bits"}
	}
	if opts.Progress != nil {
		opts.Progress(s.work)
	}
	s.ready = true
	return Result{Flow: s.flow, Potential: s.potential, Cost: cost, Work: s.work}, nil
}

// readFlows fills s.flow and s.total, its cost: arcs outside the tree are at a
// bound, tree arcs carry what their lower node says, self-loops what their cost
// asks for. It returns *UnboundedError if that is without limit.
func (s *Solver) readFlows() error {
	if err := s.readLeast(); err != nil {
		return err
	}
	p := s.p
	for a := range s.allFull {
		i := s.arcOf(a)
		s.raise(i, p.Cap[i]-s.flow[i])
	}
	for u := range p.Supply {
		if t := &s.node[u]; t.pred < s.arcs {
			s.raise(s.arcOf(t.pred), t.flow())
		}
	}
	return nil
}

// readLeast puts all arcs but self-loops at their least flow.
func (s *Solver) readLeast() error {
	p := s.p
	s.total = sum128{}
	if p.Low == nil {
		clear(s.flow)
	} else {
		copy(s.flow, p.Low)
		for i, low := range p.Low {
			s.total.addProduct(low, p.Cost[i])
		}
	}
	if int(s.arcs) < p.Arcs() {
		return s.readLoops()
	}
	return nil
}

// raise adds x to the flow of the Problem's arc i and its cost to s.total.
func (s *Solver) raise(i int32, x int64) {
	s.flow[i] += x
	s.total.addProduct(x, s.p.Cost[i])
}

// readLoops fills self-loops of negative cost.
func (s *Solver) readLoops() error {
	p := s.p
	for i, u := range p.From {
		if u != p.To[i] {
			continue
		}
		x, err := p.loopFlow(i)
		if err != nil {
			return err
		}
		s.raise(int32(i), x-s.flow[i])
	}
	return nil
}

// loopFlow is the flow on self-loop i: its least, or its capacity where its
// cost is negative. It returns *UnboundedError where that is without limit.
func (p *Problem) loopFlow(i int) (int64, error) {
	switch {
	case p.Cost[i] >= 0:
		return p.low(i), nil
	case p.Cap[i] == Unlimited:
		return 0, &UnboundedError{Arcs: []int32{int32(i)}, Cost: p.Cost[i]}
	}
	return p.Cap[i], nil
}

// resize returns a slice of length n, reusing memory where there is enough.
// Its contents are unspecified.
func resize[T any](x []T, n int) []T {
	if cap(x) < n {
		return make([]T, n)
	}
	return x[:n]
}
