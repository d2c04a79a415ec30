package flow_test

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/match/flow"
	"breakshare.example/services/order/internal/match/flow/internal/ssp"
)

func TestRefusesAtTheDoor(t *testing.T) {
	t.Parallel()
	two := func() *flow.Problem { // two nodes, one arc
		return &flow.Problem{
			Supply: []int64{1, -1}, From: []int32{0}, To: []int32{1},
			Low: []int64{0}, Cap: []int64{5}, Cost: []int64{3},
		}
	}
	cases := []struct {
		name   string
		spoil  func(*flow.Problem)
		target any    // pointer to the error type expected
		says   string // part of the message
	}{
		{"node below range", func(p *flow.Problem) { p.From[0] = -1 }, new(*flow.MalformedError), "arc 0: runs -1 to 1"},
		{"node above range", func(p *flow.Problem) { p.To[0] = 2 }, new(*flow.MalformedError), "nodes go from 0 to 1"},
		{"capacity below least flow", func(p *flow.Problem) { p.Cap[0] = -1 }, new(*flow.MalformedError), "capacity -1 is below the least flow 0"},
		{"lengths differ", func(p *flow.Problem) { p.Cost = nil }, new(*flow.MalformedError), "lengths differ"},
		{"least flows missing for some", func(p *flow.Problem) { p.Low = []int64{} }, new(*flow.MalformedError), "0 Low"},
		{"huge cost", func(p *flow.Problem) { p.Cost[0] = flow.MaxPathCost }, new(*flow.OverflowError), "arc 0: cost"},
		{"least integer as cost", func(p *flow.Problem) { p.Cost[0] = math.MinInt64 }, new(*flow.OverflowError), "arc 0: cost"},
		{"huge supply", func(p *flow.Problem) { p.Supply[1] = math.MinInt64 }, new(*flow.OverflowError), "node 1: supply"},
		{"huge capacity", func(p *flow.Problem) { p.Cap[0] = math.MaxInt64 - 1 }, new(*flow.OverflowError), "should have none, not a huge one"},
		{"huge least flow", func(p *flow.Problem) { p.Low[0], p.Cap[0] = flow.MaxVolume+1, flow.Unlimited }, new(*flow.OverflowError), "least flow"},
		{"demand without supply", func(p *flow.Problem) { p.Supply[0] = 0 }, new(*flow.InfeasibleError), "demand exceeds supply by 1"},
		{"supply without demand", func(p *flow.Problem) { p.Supply[0] = 3 }, new(*flow.InfeasibleError), "2 of supply cannot leave"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p := two()
			c.spoil(p)
			for how, solve := range map[string]func(*flow.Solver) error{
				"Solve": func(s *flow.Solver) error {
					_, err := s.Solve(t.Context(), p, flow.Options{})
					return err
				},
				"Resolve": func(s *flow.Solver) error {
					if _, err := s.Solve(t.Context(), two(), flow.Options{}); err != nil {
						t.Fatal(err)
					}
					_, err := s.Resolve(t.Context(), p, flow.Options{})
					return err
				},
			} {
				err := solve(new(flow.Solver))
				if !errors.As(err, c.target) || !strings.Contains(err.Error(), c.says) {
					t.Errorf("%s: error %v; want %T that says %q", how, err, c.target, c.says)
				}
			}
		})
	}
}

// TestLargestNumbers solves a problem at the limits of the door.
func TestLargestNumbers(t *testing.T) {
	t.Parallel()
	const x = flow.MaxVolume / 4
	dear := flow.MaxPathCost / 5
	p := &flow.Problem{
		Supply: []int64{x, 0, -x},
		From:   []int32{0, 1, 0}, To: []int32{1, 2, 2},
		Cap:  []int64{flow.Unlimited, flow.Unlimited, x},
		Cost: []int64{dear, -dear, 1},
	}
	if r := solve(t, p); r.Cost != 0 || r.Flow[2] != 0 {
		t.Errorf("cost %d, flows %v; want the way round for 0", r.Cost, r.Flow)
	}
	p.Cost[1] = dear
	if r := solve(t, p); r.Cost != x {
		t.Errorf("cost %d, want %d", r.Cost, x)
	}
	p.Cap[2] = x - 1000
	var s flow.Solver
	_, err := s.Solve(t.Context(), p, flow.Options{})
	var overflow *flow.OverflowError
	if !errors.As(err, &overflow) || !strings.Contains(err.Error(), "total cost") {
		t.Errorf("error %v; want one on the total cost", err)
	}
}

// TestUnlimitedArcs lets arcs have no capacity and compares with the second
// solver: if the optimum changes when a capacity beyond all supplies is
// doubled, the cost has no bound.
func TestUnlimitedArcs(t *testing.T) {
	t.Parallel()
	const beyond = 10_000
	unboundedSeen, solved := 0, 0
	var s flow.Solver
	rapid.Check(t, func(rt *rapid.T) {
		p := anyProblem(rt, shape{})
		once := ssp.Problem{Supply: p.Supply, From: p.From, To: p.To, Low: p.Low, Cost: p.Cost}
		twice := once
		for i := range p.Cap {
			one, two := p.Cap[i], p.Cap[i]
			if rapid.IntRange(0, 2).Draw(rt, "unlimited") > 0 {
				p.Cap[i], one, two = flow.Unlimited, beyond, 2*beyond
			}
			once.Cap, twice.Cap = append(once.Cap, one), append(twice.Cap, two)
		}
		want, feasible := ssp.Solve(once)
		further, _ := ssp.Solve(twice)
		r, err := s.Solve(t.Context(), p, flow.Options{})
		var infeasible *flow.InfeasibleError
		var unbounded *flow.UnboundedError
		switch {
		case errors.As(err, &infeasible):
			checkCut(rt, p, infeasible)
			if feasible {
				rt.Fatalf("%v, but the second solver finds cost %d", err, want)
			}
		case errors.As(err, &unbounded):
			unboundedSeen++
			checkCycle(rt, p, unbounded)
			if !feasible || want == further {
				rt.Fatalf("%v, but the second solver finds %d, then %d, feasible %t", err, want, further, feasible)
			}
		case err != nil || r.Cost != want || want != further:
			rt.Fatalf("cost %d, %v; the second solver finds %d, then %d", r.Cost, err, want, further)
		default:
			solved++
			if err := flow.Verify(p, r); err != nil {
				rt.Fatal(err)
			}
		}
	})
	if unboundedSeen == 0 || solved == 0 {
		t.Errorf("%d unbounded and %d solved; want some of each", unboundedSeen, solved)
	}
}

// checkCycle proves that e is a cycle of unlimited arcs of negative cost.
func checkCycle(t reporter, p *flow.Problem, e *flow.UnboundedError) {
	t.Helper()
	cost := int64(0)
	for k, a := range e.Arcs {
		next := e.Arcs[(k+1)%len(e.Arcs)]
		if p.To[a] != p.From[next] {
			t.Errorf("arc %d ends at %d, arc %d starts at %d", a, p.To[a], next, p.From[next])
		}
		if p.Cap[a] != flow.Unlimited {
			t.Errorf("arc %d is not unlimited", a)
		}
		cost += p.Cost[a]
	}
	if cost != e.Cost || cost >= 0 {
		t.Errorf("the cycle costs %d, said to cost %d", cost, e.Cost)
	}
}

func TestCancelledContextStops(t *testing.T) {
	t.Parallel()
	p := instance(t, "sparse-8-12")
	ctx, cancel := context.WithCancel(t.Context())
	var s flow.Solver
	seen := 0
	_, err := s.Solve(ctx, p, flow.Options{Progress: func(flow.Progress) {
		if seen++; seen == 2 {
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) || seen != 2 {
		t.Fatalf("error %v after %d reports; want it cancelled after 2", err, seen)
	}
	// A stopped Solver is as good as new.
	if _, err := s.Resolve(t.Context(), p, flow.Options{}); err != nil {
		t.Errorf("solving again: %v", err)
	}
}

func TestProgressGrows(t *testing.T) {
	t.Parallel()
	var s flow.Solver
	var reports []flow.Progress
	r, err := s.Solve(t.Context(), instance(t, "sparse-8-12"), flow.Options{
		Progress: func(p flow.Progress) { reports = append(reports, p) },
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(reports) < 3 {
		t.Fatalf("%d reports of %d pivots, want several", len(reports), r.Work.Pivots)
	}
	for k := 1; k < len(reports); k++ {
		if reports[k].Pivots <= reports[k-1].Pivots && k < len(reports)-1 {
			t.Errorf("report %d has %d pivots after %d", k, reports[k].Pivots, reports[k-1].Pivots)
		}
	}
	if last := reports[len(reports)-1]; last != r.Work {
		t.Errorf("last report %+v, result says %+v", last, r.Work)
	}
}
