package flow_test

import (
	"errors"
	"testing"

	"breakshare.example/services/order/internal/match/flow"
)

// large is solved by the benchmark script, which generates it first.
const large = "coop-day-large"

func TestReferenceOptima(t *testing.T) {
	t.Parallel()
	for _, o := range optima(t) {
		if o.Name == large {
			continue
		}
		t.Run(o.Name, func(t *testing.T) {
			t.Parallel()
			p := instance(t, o.Name)
			if p.Nodes() != o.Nodes || p.Arcs() != o.Arcs {
				t.Fatalf("%d nodes, %d arcs; want %d, %d", p.Nodes(), p.Arcs(), o.Nodes, o.Arcs)
			}
			if r := solve(t, p); r.Cost != o.Objective {
				t.Errorf("cost %d, want %d", r.Cost, o.Objective)
			}
		})
	}
}

// TestAwkwardInstances solves them one after another with one Solver, which
// also shows that nothing of one problem leaks into the next.
func TestAwkwardInstances(t *testing.T) {
	t.Parallel()
	cases := fuzzCases(t)
	if len(cases) != 400 {
		t.Fatalf("%d instances, want 400", len(cases))
	}
	var s flow.Solver
	for _, c := range cases {
		p := c.problem()
		r, err := s.Solve(t.Context(), p, flow.Options{})
		var infeasible *flow.InfeasibleError
		switch {
		case errors.As(err, &infeasible):
			if c.Expect.Status != "infeasible" {
				t.Errorf("%s: %v, want %s", c.Name, err, c.Expect.Status)
			}
			checkCut(t, p, infeasible)
		case err != nil:
			t.Errorf("%s: %v", c.Name, err)
		case c.Expect.Status != "optimal" || r.Cost != c.Expect.Objective:
			t.Errorf("%s: cost %d, want %s %d", c.Name, r.Cost, c.Expect.Status, c.Expect.Objective)
		default:
			if err := flow.Verify(p, r); err != nil {
				t.Errorf("%s: %v", c.Name, err)
			}
		}
	}
}

// checkCut proves from the problem alone that e's set of nodes has more supply
// than can leave it.
func checkCut(t reporter, p *flow.Problem, e *flow.InfeasibleError) {
	t.Helper()
	inside := make([]bool, p.Nodes())
	excess := int64(0)
	for _, u := range e.Nodes {
		inside[u] = true
		excess += p.Supply[u]
	}
	for i, u := range p.From {
		if inside[u] && !inside[p.To[i]] {
			if p.Cap[i] == flow.Unlimited {
				t.Fatalf("unlimited arc %d leaves the set", i)
			}
			excess -= p.Cap[i]
		}
		if !inside[u] && inside[p.To[i]] && p.Low != nil {
			excess += p.Low[i]
		}
	}
	if excess != e.Excess {
		t.Errorf("excess of the set is %d, said to be %d", excess, e.Excess)
	}
	if excess == 0 || (excess < 0 && len(e.Nodes) != p.Nodes()) {
		t.Errorf("excess %d of %d nodes proves nothing", excess, len(e.Nodes))
	}
}

// reporter is what a test and a property test have in common.
type reporter interface {
	Helper()
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}
