package flow_test

import (
	"errors"
	"testing"

	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/match/flow"
	"breakshare.example/services/order/internal/match/flow/internal/ssp"
)

// shape says which networks anyProblem draws.
type shape struct {
	bipartite, reversed bool
	day                 bool // see anyDay
}

// anyProblem draws a small problem with every awkwardness at once. Half of
// them have supplies made from a flow, and so are feasible.
func anyProblem(t *rapid.T, sh shape) *flow.Problem {
	n := rapid.IntRange(2, 12).Draw(t, "nodes")
	m := rapid.IntRange(0, 40).Draw(t, "arcs")
	p := &flow.Problem{Supply: make([]int64, n)}
	senders := rapid.IntRange(1, n-1).Draw(t, "senders")
	feasible := rapid.Bool().Draw(t, "feasible")
	for range m {
		u, v := rapid.IntRange(0, n-1).Draw(t, "u"), rapid.IntRange(0, n-1).Draw(t, "v")
		if sh.bipartite {
			u, v = u%senders, senders+v%(n-senders)
		}
		if sh.reversed && u < v {
			u, v = v, u
		}
		low := rapid.Int64Range(-2, 3).Draw(t, "low")
		room := rapid.Int64Range(0, 9).Draw(t, "room")
		p.From, p.To = append(p.From, int32(u)), append(p.To, int32(v))
		p.Low, p.Cap = append(p.Low, low), append(p.Cap, low+room)
		p.Cost = append(p.Cost, rapid.Int64Range(-9, 30).Draw(t, "cost"))
		if feasible {
			x := low + rapid.Int64Range(0, room).Draw(t, "x")
			p.Supply[u] += x
			p.Supply[v] -= x
		}
	}
	if !feasible {
		for range rapid.IntRange(0, 6).Draw(t, "moves") {
			x := rapid.Int64Range(0, 5).Draw(t, "moved")
			p.Supply[rapid.IntRange(0, n-1).Draw(t, "s")] += x
			p.Supply[rapid.IntRange(0, n-1).Draw(t, "d")] -= x
		}
	}
	return p
}

var shapes = map[string]shape{
	"any":                {},
	"senders, receivers": {bipartite: true},
	"turned around":      {bipartite: true, reversed: true},
	"acyclic":            {reversed: true},
}

// agree solves p with s, proves the outcome and compares it with the second
// solver. It returns the cost and whether there is a flow.
func agree(t *rapid.T, solver func(*flow.Problem) (flow.Result, error), p *flow.Problem) (int64, bool) {
	cost, feasible := ssp.Solve(ssp.Problem{Supply: p.Supply, From: p.From, To: p.To, Low: p.Low, Cap: p.Cap, Cost: p.Cost})
	r, err := solver(p)
	var infeasible *flow.InfeasibleError
	switch {
	case errors.As(err, &infeasible):
		if feasible {
			t.Fatalf("%v, but the second solver finds cost %d", err, cost)
		}
		checkCut(t, p, infeasible)
	case err != nil:
		t.Fatalf("unexpected error: %v", err)
	case !feasible:
		t.Fatalf("cost %d, but the second solver finds no flow", r.Cost)
	case r.Cost != cost:
		t.Fatalf("cost %d, the second solver finds %d", r.Cost, cost)
	default:
		if err := flow.Verify(p, r); err != nil {
			t.Fatal(err)
		}
	}
	return cost, feasible
}

func TestAgreesWithSecondSolver(t *testing.T) {
	t.Parallel()
	for name, sh := range shapes {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var s flow.Solver
			rapid.Check(t, func(rt *rapid.T) {
				agree(rt, func(p *flow.Problem) (flow.Result, error) {
					return s.Solve(t.Context(), p, flow.Options{})
				}, anyProblem(rt, sh))
			})
		})
	}
}

// TestResolveEqualsSolve changes supplies, bounds and costs of a problem step
// by step; each answer from the last basis must be optimal.
func TestResolveEqualsSolve(t *testing.T) {
	t.Parallel()
	for name, sh := range shapes {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rapid.Check(t, func(rt *rapid.T) {
				p := anyProblem(rt, sh)
				var s flow.Solver
				resolve := func(p *flow.Problem) (flow.Result, error) {
					return s.Resolve(t.Context(), p, flow.Options{})
				}
				agree(rt, resolve, p)
				for range rapid.IntRange(1, 4).Draw(rt, "rounds") {
					change(rt, p)
					agree(rt, resolve, p)
				}
			})
		})
	}
}

// change alters some supplies, bounds and costs, and seldom the network.
func change(t *rapid.T, p *flow.Problem) {
	n, m := p.Nodes(), p.Arcs()
	for range rapid.IntRange(0, 3).Draw(t, "supplies") {
		x := rapid.Int64Range(-3, 3).Draw(t, "x")
		p.Supply[rapid.IntRange(0, n-1).Draw(t, "u")] += x
		p.Supply[rapid.IntRange(0, n-1).Draw(t, "v")] -= x
	}
	if m == 0 {
		return
	}
	for range rapid.IntRange(0, 3).Draw(t, "arcs") {
		i := rapid.IntRange(0, m-1).Draw(t, "i")
		p.Low[i] = rapid.Int64Range(-2, 3).Draw(t, "low")
		p.Cap[i] = p.Low[i] + rapid.Int64Range(0, 9).Draw(t, "room")
		p.Cost[i] = rapid.Int64Range(-9, 30).Draw(t, "cost")
	}
	if rapid.IntRange(0, 9).Draw(t, "turn") == 0 {
		i := rapid.IntRange(0, m-1).Draw(t, "turned")
		p.From[i], p.To[i] = p.To[i], p.From[i]
	}
}

// TestOrderOfInputIsIrrelevant renumbers nodes and shuffles arcs.
func TestOrderOfInputIsIrrelevant(t *testing.T) {
	t.Parallel()
	var s flow.Solver
	rapid.Check(t, func(rt *rapid.T) {
		p := anyProblem(rt, shape{})
		want, wantErr := s.Solve(t.Context(), p, flow.Options{})
		nodes := rapid.Permutation(upTo(p.Nodes())).Draw(rt, "nodes")
		arcs := rapid.Permutation(upTo(p.Arcs())).Draw(rt, "arcs")
		q := &flow.Problem{Supply: make([]int64, p.Nodes())}
		for u, b := range p.Supply {
			q.Supply[nodes[u]] = b
		}
		for _, i := range arcs {
			q.From, q.To = append(q.From, nodes[p.From[i]]), append(q.To, nodes[p.To[i]])
			q.Low, q.Cap, q.Cost = append(q.Low, p.Low[i]), append(q.Cap, p.Cap[i]), append(q.Cost, p.Cost[i])
		}
		got, err := s.Solve(t.Context(), q, flow.Options{})
		if (err == nil) != (wantErr == nil) || got.Cost != want.Cost {
			rt.Fatalf("cost %d, %v; in another order %d, %v", want.Cost, wantErr, got.Cost, err)
		}
	})
}

func upTo(n int) []int32 {
	x := make([]int32, n)
	for i := range x {
		x[i] = int32(i)
	}
	return x
}
