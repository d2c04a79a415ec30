package match

import (
	"context"
	"slices"

	"breakshare.example/services/order/internal/match/flow"
)

// basis is the solver of one phase together with the problem that it solved last.
type basis struct {
	solver  flow.Solver
	problem flow.Problem
	change  flow.Change
	solved  bool
}

// solve finds the best flow of p. Where the last problem had the same nodes and arcs, the solver
// is told what is otherwise and goes on from where it ended.
func (b *basis) solve(ctx context.Context, p *flow.Problem, opts flow.Options) (flow.Result, error) {
	if !b.solved || !slices.Equal(b.problem.From, p.From) || !slices.Equal(b.problem.To, p.To) || len(b.problem.Supply) != len(p.Supply) {
		b.problem = flow.Problem{
			Supply: slices.Clone(p.Supply), From: p.From, To: p.To, Cap: slices.Clone(p.Cap), Cost: slices.Clone(p.Cost),
		}
		r, err := b.solver.Solve(ctx, &b.problem, opts)
		return b.answer(r, err)
	}
	b.compare(p)
	u, err := b.solver.Change(ctx, b.change, opts)
	return b.answer(u.Result, err)
}

// answer forgets the problem where it was not solved, so that the next is solved from nothing.
func (b *basis) answer(r flow.Result, err error) (flow.Result, error) {
	if b.solved = err == nil; err != nil {
		*b = basis{}
	}
	return r, err
}

// compare notes what of p is otherwise than in the last problem.
func (b *basis) compare(p *flow.Problem) {
	b.change.Supplies, b.change.Arcs = b.change.Supplies[:0], b.change.Arcs[:0]
	for node, packs := range p.Supply {
		if packs != b.problem.Supply[node] {
			b.change.Supplies = append(b.change.Supplies, flow.NodeSupply{Node: int32(node), Supply: packs})
		}
	}
	for a, room := range p.Cap {
		if room != b.problem.Cap[a] || p.Cost[a] != b.problem.Cost[a] {
			b.change.Arcs = append(b.change.Arcs, flow.ArcTerms{Arc: int32(a), Cap: room, Cost: p.Cost[a]})
		}
	}
}
