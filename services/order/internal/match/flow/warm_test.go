package flow_test

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/order/internal/match/flow"
)

// morning moves a pack from every hundredth supplier to the one after it, as
// if picks had come out differently.
func morning(p *flow.Problem) *flow.Problem {
	q := *p
	q.Supply = slices.Clone(p.Supply)
	last := -1
	for u, b := range q.Supply {
		if b <= 1 || u%100 != 0 {
			continue
		}
		if last >= 0 {
			q.Supply[last]--
			q.Supply[u]++
			last = -1
		} else {
			last = u
		}
	}
	return &q
}

func TestResolveAfterMorning(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"coop-day-small", "sparse-8-10", "dense-50"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := instance(t, name)
			q := morning(p)
			want := solve(t, q)
			var s flow.Solver
			if _, err := s.Solve(t.Context(), p, flow.Options{}); err != nil {
				t.Fatal(err)
			}
			got, err := s.Resolve(t.Context(), q, flow.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if err := flow.Verify(q, got); err != nil {
				t.Fatal(err)
			}
			if got.Cost != want.Cost {
				t.Errorf("cost %d, from scratch %d", got.Cost, want.Cost)
			}
			if 2*got.Work.Pivots > want.Work.Pivots {
				t.Errorf("%d pivots, from scratch %d; want less than half", got.Work.Pivots, want.Work.Pivots)
			}
		})
	}
}

// TestSameAnswerEachTime: one Solver used before, a new one, same result.
func TestSameAnswerEachTime(t *testing.T) {
	t.Parallel()
	p := instance(t, "coop-day-small")
	first := solve(t, p)
	var s flow.Solver
	for _, other := range []string{"sparse-8-8", "dense-50"} {
		if _, err := s.Solve(t.Context(), instance(t, other), flow.Options{}); err != nil {
			t.Fatal(err)
		}
	}
	second, err := s.Solve(t.Context(), p, flow.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(first, second); d != "" {
		t.Errorf("another answer (-new Solver +used Solver):\n%s", d)
	}
}

// TestFrugal: the same answer, and what comes after starts over.
func TestFrugal(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"coop-day-small", "sparse-8-8"} {
		p := instance(t, name)
		want := solve(t, p)
		var s flow.Solver
		for range 2 {
			r, err := s.Solve(t.Context(), p, flow.Options{Frugal: true})
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(want, r); d != "" {
				t.Errorf("%s: another answer (-plain +frugal):\n%s", name, d)
			}
		}
		u, err := s.Change(t.Context(), flow.Change{}, flow.Options{})
		if err != nil || !u.All || u.Cost != want.Cost {
			t.Errorf("%s: changed after a frugal solve: cost %d, all anew %t, %v; want cost %d, anew", name, u.Cost, u.All, err, want.Cost)
		}
	}
}

// TestSolvingAgainAllocatesNothing covers the pivot loop and all around it:
// once a Solver has seen the size, it needs no more memory.
func TestSolvingAgainAllocatesNothing(t *testing.T) {
	p := instance(t, "coop-day-small")
	q := morning(p)
	there, back := shifted(q, p), shifted(p, q)
	var s flow.Solver
	ctx := t.Context()
	solves := map[string]func() (flow.Result, error){
		"Solve":   func() (flow.Result, error) { return s.Solve(ctx, p, flow.Options{}) },
		"Resolve": func() (flow.Result, error) { return s.Resolve(ctx, q, flow.Options{}) },
		"Change": func() (flow.Result, error) {
			there, back = back, there
			u, err := s.Change(ctx, there, flow.Options{})
			return u.Result, err
		},
	}
	for _, name := range []string{"Solve", "Resolve", "Change"} {
		allocs := testing.AllocsPerRun(5, func() {
			if _, err := solves[name](); err != nil {
				t.Fatal(err)
			}
		})
		if allocs != 0 {
			t.Errorf("%s: %v allocations, want none", name, allocs)
		}
	}
}
