package network

import (
	"errors"
	"math/bits"
	"testing"

	"pgregory.net/rapid"
)

type drawn struct {
	nodes int
	arcs  [][4]int64 // from, to, capacity, cost
}

func draw(t *rapid.T) drawn {
	d := drawn{nodes: rapid.IntRange(2, 7).Draw(t, "nodes")}
	for range rapid.IntRange(0, 16).Draw(t, "arcs") {
		d.arcs = append(d.arcs, [4]int64{
			rapid.Int64Range(0, int64(d.nodes-1)).Draw(t, "from"), rapid.Int64Range(0, int64(d.nodes-1)).Draw(t, "to"),
			rapid.Int64Range(0, 9).Draw(t, "capacity"), rapid.Int64Range(-4, 9).Draw(t, "cost"),
		})
	}
	return d
}

// Largest flow equals smallest cut (Ford and Fulkerson 1956); the cut is found
// by trying every set of nodes.
func TestMaxFlowIsSmallestCut(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		g := NewMaxFlow(d.nodes, 0, d.nodes-1)
		var ids []int
		for _, a := range d.arcs {
			ids = append(ids, g.Arc(int(a[0]), int(a[1]), a[2]))
		}
		got := g.Solve()
		cut := func(set uint) (sum int64) {
			for _, a := range d.arcs {
				if set>>a[0]&1 == 1 && set>>a[1]&1 == 0 {
					sum += a[2]
				}
			}
			return sum
		}
		want := int64(Unlimited)
		for set := range uint(1) << d.nodes {
			if set&1 == 1 && set>>(d.nodes-1)&1 == 0 {
				want = min(want, cut(set))
			}
		}
		if got != want {
			t.Fatalf("flow %d, smallest cut %d", got, want)
		}
		var side uint
		for v, in := range g.SourceSide() {
			if in {
				side |= 1 << v
			}
		}
		if cut(side) != got {
			t.Fatalf("the cut %b (%d nodes) holds %d, not %d", side, bits.OnesCount(side), cut(side), got)
		}
		net := make([]int64, d.nodes)
		for i, id := range ids {
			if f := g.Flow(id); f < 0 || f > d.arcs[i][2] {
				t.Fatalf("arc %d carries %d of %d", i, f, d.arcs[i][2])
			}
			net[d.arcs[i][0]] -= g.Flow(id)
			net[d.arcs[i][1]] += g.Flow(id)
		}
		for v := 1; v < d.nodes-1; v++ {
			if net[v] != 0 {
				t.Fatalf("node %d keeps %d", v, net[v])
			}
		}
	})
}

// The plant-to-warehouse example of F. S. Hillier and G. J. Lieberman,
// Introduction to Operations Research (P & T Company, transportation chapter):
// least cost 152,535. Costs from memory.
func TestTransportationExample(t *testing.T) {
	t.Parallel()
	cost := [3][4]int64{{464, 513, 654, 867}, {352, 416, 690, 791}, {995, 682, 388, 685}}
	g := NewMinCost(7)
	for i, s := range []int64{75, 125, 100, -80, -65, -70, -85} {
		g.Supply(i, s)
	}
	for i := range cost {
		for j, c := range cost[i] {
			g.Arc(i, 3+j, 300, c)
		}
	}
	got, err := g.Solve()
	if err != nil || got != 152_535 || !g.Optimal() {
		t.Errorf("cost %d, %v; want 152535", got, err)
	}
}

// A cheapest flow obeys capacities and balances, and its reduced costs prove
// it; where there is none, a largest flow shows that there cannot be.
func TestMinCostProvesItself(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		want := rapid.Int64Range(0, 12).Draw(t, "amount")
		g, m := NewMinCost(d.nodes), NewMaxFlow(d.nodes+1, d.nodes, d.nodes-1)
		g.Supply(0, want)
		g.Supply(d.nodes-1, -want)
		m.Arc(d.nodes, 0, want)
		for _, a := range d.arcs {
			g.Arc(int(a[0]), int(a[1]), a[2], a[3])
			m.Arc(int(a[0]), int(a[1]), a[2])
		}
		cost, err := g.Solve()
		most := m.Solve()
		var infeasible *InfeasibleError
		if errors.As(err, &infeasible) {
			if infeasible.Stranded != want-most {
				t.Fatalf("%d stranded of %d, but %d can go", infeasible.Stranded, want, most)
			}
			return
		}
		if most != want {
			t.Fatalf("%d sent, only %d can go", want, most)
		}
		if !g.Optimal() {
			t.Fatal("the prices do not prove the flow")
		}
		net := make([]int64, d.nodes)
		net[0], net[d.nodes-1] = want, -want
		for i, a := range d.arcs {
			f := g.Flow(i)
			if f < 0 || f > a[2] {
				t.Fatalf("arc %d carries %d of %d", i, f, a[2])
			}
			net[a[0]] -= f
			net[a[1]] += f
			cost -= f * a[3]
		}
		if cost != 0 {
			t.Fatalf("the stated cost is off by %d", cost)
		}
		for v, n := range net {
			if n != 0 {
				t.Fatalf("node %d is out of balance by %d", v, n)
			}
		}
	})
}
