package match

import (
	"context"
	"fmt"
	"time"

	"breakshare.example/services/order/internal/match/flow"
)

// phase is one solve: some aims after one another as the digits of one cost, by open arc.
type phase struct {
	aims []aim
	cost []int64
}

// solution is the best flow of a network and how it was found.
type solution struct {
	net  *network
	flow []int64
	// value are cost, potentials and capacities of the first phase, whose first aim is value:
	// they prove it, and price packs.
	cost, potential, cap []int64
	proof                Proof
}

// search is the state of a network being solved, phase after phase.
type search struct {
	net     *network
	told    func(Step)
	problem flow.Problem
	// fixed is the flow that earlier phases settled; it is taken out of the problem.
	fixed []int64
	// last is the flow of the last phase.
	last []int64
	// rest is what of the problem the phase at hand solves.
	rest *rest
	out  solution
}

// solve finds the best flow: it solves for as many aims as fit in one cost, keeps to the flows
// that are best in those, and goes on with the next. The first phase goes on from its basis; the
// others have little left to choose.
func solve(ctx context.Context, p *prepared, net *network, from *basis, told func(Step)) (solution, error) {
	begun := time.Now()
	s := &search{net: net, told: told, out: solution{net: net}}
	s.problem = flow.Problem{
		Supply: append([]int64(nil), net.supply...), From: net.from, To: net.to, Cap: append([]int64(nil), net.cap...),
	}
	s.fixed, s.last = make([]int64, len(net.from)), make([]int64, len(net.from))
	s.out.proof.Nodes, s.out.proof.Arcs = s.problem.Nodes(), s.problem.Arcs()
	aims := net.aims(p)
	told(Solving)
	for at := from; len(aims) > 0; at = new(basis) {
		settled, err := s.step(ctx, aims, at)
		if err != nil {
			return solution{}, err
		}
		aims = aims[settled:]
	}
	s.out.flow = s.fixed
	s.out.proof.Verified = true
	s.out.proof.Solving = time.Since(begun)
	return s.out, nil
}

// step solves for the first aims and returns how many they were.
func (s *search) step(ctx context.Context, aims []aim, at *basis) (int, error) {
	first := s.out.potential == nil
	if first {
		s.openAll()
	} else if s.open(aims); len(s.rest.arcs) == 0 {
		return len(aims), nil
	}
	for {
		ph, err := s.gather(aims, first)
		if err != nil {
			return 0, err
		}
		s.layOut(ph.aims)
		best, err := s.run(ctx, ph.cost, at)
		if err != nil {
			return 0, err
		}
		s.take(best.Flow)
		if s.refine() {
			continue
		}
		if first {
			s.begin(ph, best)
		}
		if len(ph.aims) == len(aims) {
			s.takeRest()
		} else {
			s.settle(ph, best)
		}
		return len(ph.aims), nil
	}
}

// take keeps the flow of a phase.
func (s *search) take(packs []int64) {
	for _, a := range s.rest.arcs {
		s.last[a] = 0
	}
	for i, a := range s.rest.arcs {
		s.last[a] += packs[i]
	}
}

// begin keeps what proves the first phase.
func (s *search) begin(ph phase, best flow.Result) {
	s.out.cost, s.out.potential = ph.cost, make([]int64, s.problem.Nodes())
	for i, node := range s.rest.nodes {
		s.out.potential[node] = best.Potential[i]
	}
	s.out.cap = append([]int64(nil), s.problem.Cap...)
	s.out.proof.Cost = best.Cost
}

// gather puts as many aims into one cost as fit: each as a digit, in a radix above what the aims
// below it can change by. The first phase stops before shares: once the value is settled, few of
// them are still open, and only those get their steps.
func (s *search) gather(aims []aim, first bool) (phase, error) {
	var ph phase
	sum := int64(0)
	for _, a := range aims {
		if first && len(ph.aims) > 0 && a.shares != nil {
			break
		}
		cost := make([]int64, len(s.rest.arcs))
		a.costs(s.rest, cost)
		change, err := s.net.largestChange(s.rest, cost)
		switch {
		case err != nil:
			return ph, err
		case len(ph.aims) == 0:
			if !s.fits(cost) {
				return ph, s.net.tooLarge()
			}
			ph.cost, sum = cost, change
		default:
			high, ok := times(sum, change+1)
			if !ok || high > 1<<61-change || !join(ph.cost, cost, change+1) || !s.fits(cost) {
				return ph, nil
			}
			ph.cost, sum = cost, high+change
		}
		ph.aims = append(ph.aims, a)
	}
	return ph, nil
}

// join puts the digits of high above those of low, and says whether they fit.
func join(high, low []int64, radix int64) bool {
	for i, c := range high {
		part, ok := times(max(c, -c), radix)
		if !ok {
			return false
		}
		if c < 0 {
			part = -part
		}
		low[i] += part
	}
	return true
}

// fits says whether the costs keep within what the solver is exact in.
func (s *search) fits(cost []int64) bool {
	largest := int64(0)
	for _, c := range cost {
		largest = max(largest, c, -c)
	}
	packs := s.net.packs
	// A pack passes at most a lot, a group, a demand, a customer and a farm.
	_, total := times(packs, 8*largest)
	return total && largest < 1<<58 && packs <= flow.MaxVolume/16 && largest <= flow.MaxPathCost/int64(len(s.net.supply)+2)
}

// run solves and verifies the problem of a phase, without what earlier phases settled.
func (s *search) run(ctx context.Context, cost []int64, at *basis) (flow.Result, error) {
	small := s.rest.with(&s.problem, cost)
	best, err := at.solve(ctx, small, flow.Options{Progress: func(flow.Progress) { s.told(Solving) }})
	if err != nil {
		return best, fmt.Errorf("match: solve: %w", err)
	}
	s.out.proof.Pivots += best.Work.Pivots
	s.out.proof.Phases++
	s.told(Verifying)
	if err := flow.Verify(small, best); err != nil {
		return best, fmt.Errorf("match: the solver's answer is not the best: %w", err)
	}
	return best, nil
}

// layOut has the shares of the aims take steps.
func (s *search) layOut(aims []aim) {
	for _, a := range aims {
		for i := range a.shares {
			a.shares[i].steps = true
		}
	}
}

// refine puts finer steps around what shares lack, where a step of several packs lies next to
// it, and says whether there were any.
func (s *search) refine() bool {
	refined := false
	for _, open := range s.rest.shares {
		sh := open.share
		if lacking := s.last[sh.arc]; sh.steps && !sh.resolved(lacking) {
			sh.refine(lacking)
			refined = true
		}
	}
	return refined
}

// settle keeps to the flows that are as good as the one found. By complementary slackness they
// are those which have nothing on the arcs of positive reduced cost and fill those of negative.
func (s *search) settle(ph phase, best flow.Result) {
	small := &s.rest.problem
	for i, a := range s.rest.arcs {
		if small.Cap[i] > 0 && ph.cost[i]+best.Potential[small.From[i]]-best.Potential[small.To[i]] != 0 {
			s.fix(a, best.Flow[i], small.Cap[i])
			s.last[a] -= best.Flow[i]
		}
	}
	s.tighten()
	s.prune()
}

// fix settles that so many packs flow on room of an arc.
func (s *search) fix(a int32, packs, room int64) {
	p := &s.problem
	s.fixed[a] += packs
	p.Supply[p.From[a]] -= packs
	p.Supply[p.To[a]] += packs
	p.Cap[a] -= room
}

// prune settles what no flow has a choice in: the one arc of a node that has no other carries
// what the node sends or takes. Without it, its other end may have but one arc left, and so on.
func (s *search) prune() {
	p := &s.problem
	open := make([]int32, p.Nodes())
	// last is, by node, the sum of its open arcs: where one is open, that one.
	last := make([]int64, p.Nodes())
	for i, a := range s.rest.arcs {
		if p.Cap[a] > 0 && s.rest.isFirst(i) {
			for _, node := range [2]int32{p.From[a], p.To[a]} {
				open[node]++
				last[node] += int64(a)
			}
		}
	}
	var leaves []int32
	for node, arcs := range open {
		if arcs == 1 {
			leaves = append(leaves, int32(node))
		}
	}
	for len(leaves) > 0 {
		node := leaves[len(leaves)-1]
		leaves = leaves[:len(leaves)-1]
		if open[node] != 1 {
			continue
		}
		a := last[node]
		from, to := p.From[a], p.To[a]
		packs, other := p.Supply[node], to
		if node == to {
			packs, other = -packs, from
		}
		s.fix(int32(a), packs, p.Cap[a])
		open[node], last[node] = 0, 0
		open[other]--
		if last[other] -= a; open[other] == 1 {
			leaves = append(leaves, other)
		}
	}
}

// takeRest adds the flow of the last phase to what is settled.
func (s *search) takeRest() {
	for i, a := range s.rest.arcs {
		if s.rest.isFirst(i) {
			s.fixed[a] += s.last[a]
		}
	}
}
