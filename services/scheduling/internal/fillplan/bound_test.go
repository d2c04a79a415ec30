package fillplan

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// TestEveryPriceProvesABound prices the rows of random instances at random: what
// the prices prove must not pass the cost of any plan.
func TestEveryPriceProvesABound(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		in := smallInstance(rt)
		p := newProblem(in, nil)
		x := newCutRelaxation(p, func(int) {})
		x.stopped = func() bool { return false }
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		for _, c := range x.separate(randomParts(x, rng), make([]float64, x.cells), 100) {
			x.addCut(c)
		}
		n := &node{banned: newMask(p)}
		var v prices
		for i := range x.rows() {
			low, high := x.priceRange(i)
			v.rows = append(v.rows, low+int64(rng.Float64()*rng.Float64()*float64(high-low)/4))
		}
		bound := x.solve(n, &v)
		everyPlan(in, 3000, func(fills []Fill) {
			if m := Evaluate(in, fills).M(); bound > m*x.scale {
				rt.Fatalf("prices prove %d, %v costs %d", bound/x.scale, fills, m)
			}
		})
	})
}

func randomParts(x *relaxation, rng *rand.Rand) []float64 {
	part := make([]float64, len(x.worth))
	for i := range part {
		part[i] = max(0, rng.Float64()-0.6)
	}
	return part
}

// TestCutsHoldForEveryPlan checks each cut in its own words: coefficients of the
// fills made and grams short come to the right-hand side at least.
func TestCutsHoldForEveryPlan(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		in := smallInstance(rt)
		p := newProblem(in, nil)
		x := newCutRelaxation(p, func(int) {})
		x.stopped = func() bool { return false }
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		cuts := append(x.cuts, x.separate(randomParts(x, rng), make([]float64, x.cells), 100)...)
		everyPlan(in, 1000, func(fills []Fill) { checkCuts(rt, x, cuts, fills) })
	})
}

// checkCuts fails when fills of a feasible plan break a cut.
func checkCuts(t interface{ Fatalf(string, ...any) }, x *relaxation, cuts []cut, fills []Fill) {
	p := x.p
	made := make([]int64, len(x.worth))
	for _, f := range fills {
		room := &p.rooms[f.Room]
		made[room.slots[room.slotOf(f.Programme)].shape*p.weeks+f.Week]++
	}
	supply := supplyOf(p.in, fills)
	for _, c := range cuts {
		var left int64
		for _, t := range c.terms {
			left += t.coef * made[t.index]
		}
		for _, i := range c.cells {
			q, w := int(i)%p.products, int(i)/p.products
			left += max(0, p.in.DemandGrams[q][w]-supply[q][w])
		}
		if left < c.rhs {
			t.Fatalf("cut %+v: %d is below %d for %v", c.key, left, c.rhs, fills)
		}
	}
}

// TestCutsHoldForGoodPlans checks the cuts found on an instance of full size
// against the plans a search passes through, which come close to them.
func TestCutsHoldForGoodPlans(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"tiny-s1"} {
		p := newProblem(reference(t, name), nil)
		a := newSearch(p, 3)
		b := newBounder(p, func() int64 { return math.MaxInt64 / 4096 }, func([][]choice) {})
		for b.tree == nil || b.tree.branched < 3*cutEvery && !b.ended {
			b.turn()
		}
		x := b.tree.x
		if len(x.cuts) < 20 {
			t.Fatalf("%s: only %d cuts found", name, len(x.cuts))
		}
		for range 100 {
			a.sweep(math.MaxInt64)
			checkCuts(t, x, x.cuts, p.fillsOf(a.s.rooms))
		}
		checkCuts(t, x, x.cuts, p.fillsOf(a.best))
		b.halt()
	}
}

// TestMasterAgreesWithTheKnownRelaxation compares the linear relaxation, without
// any cut, with the value independent solvers found for it.
func TestMasterAgreesWithTheKnownRelaxation(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]float64{"tiny-s1": 5_306_244.64, "tiny-s2": 4_835_634.58, "small-s2": 15_962_493.09} {
		p := newProblem(reference(t, name), nil)
		// A linear relaxation may make a part of a fill too large for its week's yard.
		for r := range p.rooms {
			for k := range p.rooms[r].slots {
				s := &p.rooms[r].slots[k]
				for w := p.rooms[r].free; w < p.weeks; w++ {
					s.base[w] = fillCost(p.in, Fill{Room: r, Programme: s.programme, Week: w})
				}
			}
		}
		x := newRelaxation(p, func(int) {})
		x.stopped = func() bool { return false }
		n := &node{bound: math.MinInt64, banned: newMask(p)}
		newAscent(x).raise(n, 300, math.MaxInt64/4096, 0.1)
		m := newMaster(x, n, p.largestLump())
		x.solve(n, &n.prices)
		m.addPaths()
		m.start()
		m.generate(300, func() int64 { return math.MaxInt64 })
		got := float64(n.bound) / 1000
		if got < want*0.9999 || got > want+0.01 {
			t.Errorf("%s: relaxation %.2f, want %.2f", name, got, want)
		}
	}
}

// TestBanKeepsTheBest bans fills by the root's prices: those of the best plan
// must stay.
func TestBanKeepsTheBest(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		in := smallInstance(rt)
		least, best := int64(math.MaxInt64), []Fill(nil)
		if !everyPlan(in, 2000, func(fills []Fill) {
			if m := Evaluate(in, fills).M(); m < least {
				least, best = m, fills
			}
		}) {
			return
		}
		p := newProblem(in, nil)
		x := newCutRelaxation(p, func(int) {})
		x.stopped = func() bool { return false }
		n := &node{bound: math.MinInt64, banned: newMask(p)}
		newAscent(x).raise(n, 50, least+1, 0.1)
		x.ban(n, least+1)
		if n.bound > least {
			rt.Fatalf("bound %d, the optimum is %d", n.bound, least)
		}
		for _, f := range best {
			room := &p.rooms[f.Room]
			if n.banned.has(room.slots[room.slotOf(f.Programme)].first + f.Week) {
				rt.Fatalf("fill %v of the best plan is banned", f)
			}
		}
	})
}
