package flow_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/match/flow"
)

// anyChange draws a change of p that keeps the supplies balanced, now and then
// the costs beyond 32 bits, the bounds without limit, and an entry twice.
func anyChange(t *rapid.T, p *flow.Problem) flow.Change {
	n, m := p.Nodes(), p.Arcs()
	var c flow.Change
	now := slices.Clone(p.Supply)
	for range rapid.IntRange(0, 4).Draw(t, "supplies") {
		u, v := rapid.IntRange(0, n-1).Draw(t, "u"), rapid.IntRange(0, n-1).Draw(t, "v")
		x := rapid.Int64Range(-4, 4).Draw(t, "x")
		now[u] += x
		c.Supplies = append(c.Supplies, flow.NodeSupply{Node: int32(u), Supply: now[u]})
		now[v] -= x
		c.Supplies = append(c.Supplies, flow.NodeSupply{Node: int32(v), Supply: now[v]})
	}
	for range rapid.IntRange(0, 4).Draw(t, "arcs") {
		if m == 0 {
			break
		}
		e := flow.ArcTerms{
			Arc:  int32(rapid.IntRange(0, m-1).Draw(t, "i")),
			Low:  rapid.Int64Range(-2, 3).Draw(t, "low"),
			Cost: rapid.Int64Range(-9, 30).Draw(t, "cost"),
		}
		e.Cap = e.Low + rapid.Int64Range(0, 9).Draw(t, "room")
		switch rapid.IntRange(0, 29).Draw(t, "odd") {
		case 0:
			e.Cost *= 1 << 32
		case 1:
			e.Cap, e.Cost = flow.Unlimited, max(e.Cost, 0)
		}
		c.Arcs = append(c.Arcs, e)
	}
	return c
}

// rounds changes a problem again and again. Each answer must be proven, cost
// what the second solver and a cold solve find, and name the flows that differ.
func rounds(ctx context.Context, t *rapid.T, sh shape) {
	p := anyProblem(t, sh)
	if sh.day {
		p = anyDay(t, sh.reversed)
	}
	var s flow.Solver
	agree(t, func(*flow.Problem) (flow.Result, error) { return s.Solve(ctx, p, flow.Options{}) }, changed(p, flow.Change{}))
	var before []int64
	for range rapid.IntRange(1, 6).Draw(t, "rounds") {
		c := anyChange(t, p)
		var got flow.Update
		_, feasible := agree(t, func(*flow.Problem) (flow.Result, error) {
			var err error
			got, err = s.Change(ctx, c, flow.Options{})
			return got.Result, err
		}, changed(p, c))
		if !feasible {
			before = nil
			continue
		}
		if err := flow.Verify(p, got.Result); err != nil {
			t.Fatal(err)
		}
		var cold flow.Solver
		if r, err := cold.Solve(ctx, p, flow.Options{}); err != nil || r.Cost != got.Cost {
			t.Fatalf("cost %d, from scratch %d, %v", got.Cost, r.Cost, err)
		}
		if before != nil && !got.All {
			checkNamed(t, before, got)
		}
		before = slices.Clone(got.Flow)
	}
}

// changed is p as c leaves it; p itself is left to the solver. In place of no
// bound, which the second solver does not know, it has one that no flow needs:
// only arcs of some cost are without a bound.
func changed(p *flow.Problem, c flow.Change) *flow.Problem {
	q := *p
	q.Supply, q.Low = slices.Clone(p.Supply), slices.Clone(p.Low)
	q.Cap, q.Cost = slices.Clone(p.Cap), slices.Clone(p.Cost)
	for _, e := range c.Supplies {
		q.Supply[e.Node] = e.Supply
	}
	if q.Low == nil {
		q.Low = make([]int64, q.Arcs())
	}
	for _, e := range c.Arcs {
		q.Low[e.Arc], q.Cap[e.Arc], q.Cost[e.Arc] = e.Low, e.Cap, e.Cost
	}
	for i, capacity := range q.Cap {
		if capacity == flow.Unlimited {
			q.Cap[i] = 1 << 20
		}
	}
	return &q
}

// anyDay draws a small day, which always has a flow: every lot may serve every
// line, most of them at a cost, and arcs are bounded by their ends only.
func anyDay(t *rapid.T, reversed bool) *flow.Problem {
	lots, lines := rapid.IntRange(1, 5).Draw(t, "lots"), rapid.IntRange(1, 7).Draw(t, "lines")
	p := &flow.Problem{Supply: make([]int64, lots+lines)}
	for u := range p.Supply {
		b := rapid.Int64Range(0, 6).Draw(t, "packs")
		if u < lots {
			p.Supply[u] = b
		} else {
			p.Supply[u] = -b
		}
	}
	var over int64
	for _, b := range p.Supply {
		over += b
	}
	p.Supply[0] += max(-over, 0)
	p.Supply[lots] -= max(over, 0)
	for u := range lots {
		for v := lots; v < lots+lines; v++ {
			p.From, p.To = append(p.From, int32(u)), append(p.To, int32(v))
			p.Cap = append(p.Cap, min(p.Supply[u], -p.Supply[v]))
			p.Cost = append(p.Cost, rapid.SampledFrom([]int64{3, 4, 9, 50, 50}).Draw(t, "cost"))
		}
	}
	if reversed {
		p.From, p.To = p.To, p.From
		for u := range p.Supply {
			p.Supply[u] = -p.Supply[u]
		}
	}
	return p
}

// checkNamed compares the arcs that an update names with those that differ.
func checkNamed(t *rapid.T, before []int64, got flow.Update) {
	var want []int32
	for i, x := range got.Flow {
		if x != before[i] {
			want = append(want, int32(i))
		}
	}
	if !slices.Equal(want, got.Arcs) {
		t.Fatalf("flows of arcs %v differ, the update names %v", want, got.Arcs)
	}
}

var changeShapes = map[string]shape{
	"any":                {},
	"senders, receivers": {bipartite: true},
	"a day":              {bipartite: true, day: true},
	"turned around":      {bipartite: true, reversed: true},
	"a day turned":       {bipartite: true, reversed: true, day: true},
}

func TestChangeEqualsSolve(t *testing.T) {
	t.Parallel()
	for name, sh := range changeShapes {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rapid.Check(t, func(rt *rapid.T) { rounds(t.Context(), rt, sh) })
		})
	}
}

func FuzzChange(f *testing.F) {
	for seed := range byte(20) {
		// A round takes many draws: seeds are long, and always the same.
		draws := make([]byte, 4096)
		rand.NewChaCha8([32]byte{seed}).Read(draws)
		f.Add(draws)
	}
	f.Fuzz(rapid.MakeFuzz(func(t *rapid.T) {
		rounds(context.Background(), t, shape{
			bipartite: rapid.Bool().Draw(t, "bipartite"),
			reversed:  rapid.Bool().Draw(t, "reversed"),
			day:       rapid.Bool().Draw(t, "day"),
		})
	}))
}

// shifted names the supplies in which q differs from p.
func shifted(p, q *flow.Problem) flow.Change {
	var c flow.Change
	for u, b := range q.Supply {
		if b != p.Supply[u] {
			c.Supplies = append(c.Supplies, flow.NodeSupply{Node: int32(u), Supply: b})
		}
	}
	return c
}

func TestChangeAfterMorning(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"coop-day-tiny", "coop-day-small", "sparse-8-10", "dense-50"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := instance(t, name)
			q := morning(p)
			want := solve(t, q)
			var s flow.Solver
			if _, err := s.Solve(t.Context(), p, flow.Options{}); err != nil {
				t.Fatal(err)
			}
			got, err := s.Change(t.Context(), shifted(p, q), flow.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if err := flow.Verify(q, got.Result); err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(q, p); d != "" {
				t.Errorf("the problem does not hold the change (-want +got):\n%s", d)
			}
			if got.Cost != want.Cost || got.All {
				t.Errorf("cost %d, all anew: %t; from scratch %d", got.Cost, got.All, want.Cost)
			}
			if 4*got.Work.Pivots > want.Work.Pivots+40 {
				t.Errorf("%d pivots, from scratch %d", got.Work.Pivots, want.Work.Pivots)
			}
		})
	}
}

// TestDearArcsInTheMorning closes and opens arcs and changes their costs on
// the real size, where capacities and limits of nodes coincide.
func TestDearArcsInTheMorning(t *testing.T) {
	t.Parallel()
	p := instance(t, "coop-day-small")
	// Arcs to lines from SHORT and from lots to SURPLUS come last; they keep
	// room for any supply below.
	const matches, lots, lines = 8447, 100, 500
	for i := matches; i < matches+lots+lines; i++ {
		p.Cap[i] += 20
	}
	q := instance(t, "coop-day-small") // as the day was
	var s flow.Solver
	if _, err := s.Solve(t.Context(), p, flow.Options{}); err != nil {
		t.Fatal(err)
	}
	for round := range 20 {
		var c flow.Change
		for i := round; i < matches; i += 97 {
			e := flow.ArcTerms{Arc: int32(i), Cap: p.Cap[i], Cost: p.Cost[i] + int64(i%13-6)}
			if i%3 == 0 {
				e.Cap = int64(i % 5)
			}
			c.Arcs = append(c.Arcs, e)
		}
		for u := range int32(20) {
			lot, line := q.Supply[u], q.Supply[lots+9*u]
			d := max(int64((round*5+int(u))%7)-3, -lot, line)
			c.Supplies = append(c.Supplies,
				flow.NodeSupply{Node: u, Supply: lot + d},
				flow.NodeSupply{Node: lots + 9*u, Supply: line - d})
		}
		got, err := s.Change(t.Context(), c, flow.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := flow.Verify(p, got.Result); err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		if want := solve(t, p); want.Cost != got.Cost {
			t.Fatalf("round %d: cost %d, from scratch %d", round, got.Cost, want.Cost)
		}
	}
}

func TestRefusedChangeChangesNothing(t *testing.T) {
	t.Parallel()
	huge := flow.MaxVolume
	cases := map[string]struct {
		change flow.Change
		want   error
	}{
		"node":     {flow.Change{Supplies: []flow.NodeSupply{{Node: 602, Supply: 1}}}, new(flow.MalformedError)},
		"arc":      {flow.Change{Arcs: []flow.ArcTerms{{Arc: -1}}}, new(flow.MalformedError)},
		"bounds":   {flow.Change{Arcs: []flow.ArcTerms{{Arc: 3, Low: 2, Cap: 1}}}, new(flow.MalformedError)},
		"supply":   {flow.Change{Supplies: []flow.NodeSupply{{Node: 1, Supply: huge}, {Node: 2, Supply: -huge}}}, new(flow.OverflowError)},
		"capacity": {flow.Change{Arcs: []flow.ArcTerms{{Arc: 3, Cap: huge}}}, new(flow.OverflowError)},
		"low":      {flow.Change{Arcs: []flow.ArcTerms{{Arc: 3, Low: -huge, Cap: 4}}}, new(flow.OverflowError)},
		"cost":     {flow.Change{Arcs: []flow.ArcTerms{{Arc: 3, Cost: flow.MaxPathCost}}}, new(flow.OverflowError)},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := instance(t, "coop-day-small")
			var s flow.Solver
			want, err := s.Solve(t.Context(), p, flow.Options{})
			if err != nil {
				t.Fatal(err)
			}
			// A good entry first, which must be taken back.
			c.change.Supplies = append([]flow.NodeSupply{{Node: 0, Supply: 99}}, c.change.Supplies...)
			_, err = s.Change(t.Context(), c.change, flow.Options{})
			if fmt.Sprintf("%T", err) != fmt.Sprintf("%T", c.want) {
				t.Fatalf("got %T %v, want %T", err, err, c.want)
			}
			got, err := s.Change(t.Context(), flow.Change{}, flow.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if err := flow.Verify(instance(t, "coop-day-small"), got.Result); err != nil || got.Cost != want.Cost || len(got.Arcs) > 0 || got.All {
				t.Errorf("after a refusal: %v, cost %d, arcs %v, all %t; want the result as it was, cost %d", err, got.Cost, got.Arcs, got.All, want.Cost)
			}
		})
	}
}

func TestChangeWithoutProblem(t *testing.T) {
	t.Parallel()
	var s flow.Solver
	var malformed *flow.MalformedError
	if _, err := s.Change(t.Context(), flow.Change{}, flow.Options{}); !errors.As(err, &malformed) {
		t.Errorf("got %v, want a *MalformedError", err)
	}
}

// TestChangeAfterFailure: what fails or is stopped holds the change, and the
// next call starts over.
func TestChangeAfterFailure(t *testing.T) {
	t.Parallel()
	p := &flow.Problem{
		Supply: []int64{2, -2}, From: []int32{0, 0, 1}, To: []int32{1, 1, 1},
		Cap: []int64{3, 3, 3}, Cost: []int64{1, 2, -1},
	}
	var s flow.Solver
	if _, err := s.Solve(t.Context(), p, flow.Options{}); err != nil {
		t.Fatal(err)
	}
	stopped, cancel := context.WithCancel(t.Context())
	cancel()
	one := func(i int32, capacity, cost int64) flow.Change {
		return flow.Change{Arcs: []flow.ArcTerms{{Arc: i, Cap: capacity, Cost: cost}}}
	}
	steps := []struct {
		ctx    context.Context
		change flow.Change
		fails  string // %T of the error
		cost   int64
	}{
		{t.Context(), one(0, 1, 1), "", 0},
		{t.Context(), flow.Change{Supplies: []flow.NodeSupply{{Node: 0, Supply: 9}}}, "*flow.InfeasibleError", 0},
		{t.Context(), flow.Change{Supplies: []flow.NodeSupply{{Node: 1, Supply: -9}}}, "*flow.InfeasibleError", 0},
		{t.Context(), one(1, flow.Unlimited, 2), "", 1 + 16 - 3},
		{t.Context(), one(2, flow.Unlimited, -1), "*flow.UnboundedError", 0},
		{stopped, one(2, 5, -1), "*fmt.wrapError", 0},
		{t.Context(), flow.Change{}, "", 1 + 16 - 5},
	}
	for k, step := range steps {
		got, err := s.Change(step.ctx, step.change, flow.Options{})
		if err == nil {
			err = flow.Verify(p, got.Result)
		}
		switch kind := fmt.Sprintf("%T", err); {
		case step.fails != "" && kind != step.fails:
			t.Errorf("step %d: %s %v, want %s", k, kind, err, step.fails)
		case step.fails == "" && (err != nil || got.Cost != step.cost):
			t.Errorf("step %d: cost %d, %v; want %d", k, got.Cost, err, step.cost)
		}
	}
}
