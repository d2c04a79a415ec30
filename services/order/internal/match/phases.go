package match

import (
	"context"
	"fmt"
	"time"

	"breakshare.example/services/order/internal/match/flow"
)

// phase is one solve: some aims after one another as the digits of one cost.
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
	out  solution
}

// solve finds the best flow: it solves for as many aims as fit in one cost, keeps to the flows
// that are best in those, and goes on with the next. warm has the solvers of an earlier solve,
// if any, and keeps those of this one.
func solve(ctx context.Context, p *prepared, net *network, warm *Session, told func(Step)) (solution, error) {
	s := &search{net: net, told: told, out: solution{net: net}}
	s.problem = flow.Problem{
		Supply: append([]int64(nil), net.supply...), From: net.from, To: net.to, Cap: append([]int64(nil), net.cap...),
	}
	s.fixed = make([]int64, len(net.from))
	s.out.proof.Nodes, s.out.proof.Arcs = s.problem.Nodes(), s.problem.Arcs()
	s.collapse(net.customers)
	s.collapse(net.farms)
	aims := net.aims(p)
	for number := 0; len(aims) > 0; number++ {
		told(Solving)
		settled, err := s.step(ctx, aims, warm.at(number))
		if err != nil {
			return solution{}, err
		}
		aims = aims[settled:]
	}
	warm.counts = net.counts
	s.out.flow = s.fixed
	s.out.proof.Verified = true
	return s.out, nil
}

// step solves for the first aims and returns how many they were.
func (s *search) step(ctx context.Context, aims []func() (aim, error), solver *flow.Solver) (int, error) {
	first := s.out.potential == nil
	if !first {
		s.centre(s.net.customers)
		s.centre(s.net.farms)
	}
	for {
		ph, err := s.gather(aims, first)
		if err != nil {
			return 0, err
		}
		for _, a := range ph.aims {
			s.expand(a.shares)
		}
		s.problem.Cost = ph.cost
		best, err := s.run(ctx, solver)
		if err != nil {
			return 0, err
		}
		if s.refine(ph, best.Flow) {
			continue
		}
		if first {
			s.out.cost, s.out.potential = ph.cost, append([]int64(nil), best.Potential...)
			s.out.cap = append([]int64(nil), s.problem.Cap...)
			s.out.proof.Cost = best.Cost
		}
		s.last = best.Flow
		if len(ph.aims) == len(aims) {
			s.takeRest(best.Flow)
		} else {
			s.settle(best)
		}
		return len(ph.aims), nil
	}
}

// gather puts as many aims into one cost as fit: each as a digit, in a radix above what the aims
// below it can change by. The first phase stops before shares: once the value is settled, few of
// them are still open, and only those get their steps.
func (s *search) gather(aims []func() (aim, error), first bool) (phase, error) {
	var ph phase
	change := int64(0)
	for _, next := range aims {
		a, err := next()
		if err != nil {
			return ph, err
		}
		if len(ph.aims) == 0 {
			ph.aims, ph.cost, change = append(ph.aims, a), a.cost, a.change
			if !s.fits(ph.cost) {
				return ph, s.net.tooLarge()
			}
			continue
		}
		if first && a.shares != nil {
			break
		}
		joined, ok := join(ph.cost, a)
		sum, fits := times(change, a.change+1)
		if !ok || !fits || sum > 1<<61-a.change || !s.fits(joined) {
			break
		}
		ph.aims, ph.cost, change = append(ph.aims, a), joined, sum+a.change
	}
	return ph, nil
}

// join adds the aim as the last digit.
func join(cost []int64, a aim) ([]int64, bool) {
	joined := make([]int64, len(cost))
	for i, c := range cost {
		high, ok := times(max(c, -c), a.change+1)
		if !ok {
			return nil, false
		}
		if c < 0 {
			high = -high
		}
		joined[i] = high + a.cost[i]
	}
	return joined, true
}

// fits says whether the costs keep within what the solver is exact in.
func (s *search) fits(cost []int64) bool {
	largest := int64(0)
	for _, c := range cost {
		largest = max(largest, c, -c)
	}
	packs := packsOf(s.net.lots, s.net.wants)
	// A pack passes at most a lot, a group, a demand, a customer and a farm.
	_, total := times(packs, 8*largest)
	return total && largest < 1<<58 && packs <= flow.MaxVolume/16 && largest <= flow.MaxPathCost/int64(len(s.net.supply)+2)
}

// run solves and verifies the problem of a phase. What earlier phases settled is left out of it:
// arcs without room, and nodes without arcs.
func (s *search) run(ctx context.Context, solver *flow.Solver) (flow.Result, error) {
	begun := time.Now()
	small, arcs, nodes := s.reduce()
	best, err := solver.Resolve(ctx, small, flow.Options{Progress: func(flow.Progress) { s.told(Solving) }})
	if err != nil {
		return best, fmt.Errorf("match: solve: %w", err)
	}
	s.out.proof.Solving += time.Since(begun)
	s.out.proof.Pivots += best.Work.Pivots
	s.out.proof.Phases++
	s.told(Verifying)
	if err := flow.Verify(small, best); err != nil {
		return best, fmt.Errorf("match: the solver's answer is not the best: %w", err)
	}
	return s.enlarge(best, arcs, nodes), nil
}

// reduce leaves out of the problem what is settled; arcs and nodes say what each number was.
func (s *search) reduce() (small *flow.Problem, arcs, nodes []int32) {
	p := &s.problem
	number := make([]int32, p.Nodes())
	small = &flow.Problem{}
	place := func(node int32) int32 {
		if number[node] == 0 {
			nodes = append(nodes, node)
			small.Supply = append(small.Supply, p.Supply[node])
			number[node] = int32(len(nodes))
		}
		return number[node] - 1
	}
	for a, room := range p.Cap {
		if room == 0 {
			continue
		}
		arcs = append(arcs, int32(a))
		small.From, small.To = append(small.From, place(p.From[a])), append(small.To, place(p.To[a]))
		small.Cap, small.Cost = append(small.Cap, room), append(small.Cost, p.Cost[a])
	}
	return small, arcs, nodes
}

// enlarge puts the answer of a reduced problem back in the places of the whole one.
func (s *search) enlarge(best flow.Result, arcs, nodes []int32) flow.Result {
	whole := flow.Result{
		Flow: make([]int64, s.problem.Arcs()), Potential: make([]int64, s.problem.Nodes()), Cost: best.Cost, Work: best.Work,
	}
	for i, a := range arcs {
		whole.Flow[a] = best.Flow[i]
	}
	for i, node := range nodes {
		whole.Potential[node] = best.Potential[i]
	}
	return whole
}

// collapse puts all packs that a share may lack on its first arc: until shares matter, all its
// arcs cost the same.
func (s *search) collapse(shares []share) {
	for i := range shares {
		sh := &shares[i]
		for k := range sh.count {
			s.problem.Cap[sh.first+k] = 0
		}
		if sh.count > 0 {
			s.problem.Cap[sh.first] = sh.packs
		}
	}
}

// centre puts the finest steps of the shares that have none yet where the last phase left them.
func (s *search) centre(shares []share) {
	for i := range shares {
		if sh := &shares[i]; sh.count > 0 && s.problem.Cap[sh.first] == sh.packs {
			sh.refine(s.last[sh.first])
		}
	}
}

// expand gives the shares that are still open their steps.
func (s *search) expand(shares []share) {
	for i := range shares {
		if sh := &shares[i]; sh.count > 1 && s.problem.Cap[sh.first] == sh.packs {
			s.layOut(sh)
		}
	}
}

// layOut sets the room on the arcs of a share to its steps.
func (s *search) layOut(sh *share) {
	for k := range sh.count {
		s.problem.Cap[sh.first+k] = sh.at[k+1] - sh.at[k]
		if s.out.cap != nil {
			s.out.cap[sh.first+k] = s.problem.Cap[sh.first+k]
		}
	}
}

// refine puts finer steps around what shares lack, where a step of several packs lies next to
// it, and says whether there were any.
func (s *search) refine(ph phase, packs []int64) bool {
	refined := false
	for _, a := range ph.aims {
		for i := range a.shares {
			sh := &a.shares[i]
			lacking, open := int64(0), int64(0)
			for k := sh.first; k < sh.first+sh.count; k++ {
				lacking += packs[k]
				open += s.problem.Cap[k]
			}
			// Where an earlier phase has settled how much is lacking, no step matters.
			if open < sh.packs || sh.resolved(lacking) {
				continue
			}
			sh.refine(lacking)
			s.layOut(sh)
			refined = true
		}
	}
	return refined
}

// settle keeps to the flows that are as good as the one found. By complementary slackness they
// are those which have nothing on the arcs of positive reduced cost and fill those of negative.
func (s *search) settle(best flow.Result) {
	p := &s.problem
	for a, packs := range best.Flow {
		if p.Cap[a] == 0 {
			continue
		}
		reduced := p.Cost[a] + best.Potential[p.From[a]] - best.Potential[p.To[a]]
		if reduced == 0 {
			continue
		}
		if reduced < 0 {
			s.fixed[a] += packs
			p.Supply[p.From[a]] -= packs
			p.Supply[p.To[a]] += packs
		}
		p.Cap[a] = 0
	}
	s.prune()
}

// prune settles what no flow has a choice in: the one arc of a node that has no other carries
// what the node sends or takes. Without it, its other end may have but one arc left, and so on.
func (s *search) prune() {
	p := &s.problem
	open := make([]int32, p.Nodes())
	// last is, by node, the sum of its open arcs: where one is open, that one.
	last := make([]int64, p.Nodes())
	for a, room := range p.Cap {
		if room > 0 {
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
		s.fixed[a] += packs
		p.Supply[from] -= packs
		p.Supply[to] += packs
		p.Cap[a] = 0
		open[node], last[node] = 0, 0
		open[other]--
		if last[other] -= a; open[other] == 1 {
			leaves = append(leaves, other)
		}
	}
}

// takeRest adds the flow of the last phase to what is settled.
func (s *search) takeRest(packs []int64) {
	for a, some := range packs {
		s.fixed[a] += some
	}
}
