package fillplan

import (
	"iter"
	"math"
)

// bounder proves lower bounds in small pieces, so that it can take turns with
// the search on one thread: each turn works for about a quantum. A first
// bound is there from the start.
type bounder struct {
	p    *problem
	root *node
	tree *tree
	// cutoff is the least cost known so far; offer takes plans met on the way.
	cutoff func() int64
	offer  func([][]choice)

	next func() (struct{}, bool)
	stop func()
	// done says that nothing is left to prove, ended that nothing more will be
	// proven, halted that stop was called.
	done, ended, halted bool
	// work is the work done and since that of this turn, in about a nanosecond.
	work, since int64
	yield       func(struct{}) bool
}

// quantum is the work of one turn, about a millisecond.
const quantum = 1_000_000

// rootSolves limits the relaxations solved before the linear relaxation is.
const rootSolves = 10_000

// cutRounds limits how often cuts are added at the root.
const cutRounds = 100

// mostRows is the largest linear relaxation solved exactly; beyond it the prices
// of the volume algorithm have to do.
const mostRows = 6_000

func newBounder(p *problem, cutoff func() int64, offer func([][]choice)) *bounder {
	b := &bounder{p: p, cutoff: cutoff, offer: offer, root: &node{bound: math.MinInt64, banned: newMask(p)}}
	b.next, b.stop = iter.Pull(func(yield func(struct{}) bool) {
		b.yield = yield
		b.run()
	})
	b.turn()
	return b
}

// turn works on for about a quantum.
func (b *bounder) turn() {
	if _, more := b.next(); !more {
		b.ended = true
	}
}

// halt ends the work; bound stays valid.
func (b *bounder) halt() {
	b.halted = true
	b.stop()
}

// bound is the lower bound proven so far, in millicents. It never passes the
// cutoff, and reaches it when the plan that set the cutoff is proven best.
func (b *bounder) bound() int64 {
	switch {
	case b.done:
		return b.cutoff()
	case b.tree != nil:
		return min(b.cutoff(), max(b.root.bound, b.tree.bound()))
	}
	return min(b.cutoff(), b.root.bound)
}

func (b *bounder) spend(work int) {
	b.work += int64(work)
	b.since += int64(work)
	if b.since >= quantum && !b.halted {
		b.since = 0
		if !b.yield(struct{}{}) {
			b.halted = true
		}
	}
}

// run proves what it can: prices by the volume algorithm, then the linear
// relaxation with rounds of cuts, then branch and bound.
func (b *bounder) run() {
	x := newCutRelaxation(b.p, b.spend)
	x.stopped = func() bool { return b.halted }
	a := newAscent(x)
	a.raise(b.root, rootSolves, b.cutoff(), 0.1)
	if x.rows()+len(b.p.rooms) > mostRows {
		return
	}
	m := b.addCuts(x, a)
	if b.halted || b.root.bound >= b.cutoff() {
		b.done = !b.halted
		return
	}
	x.ban(b.root, b.cutoff())
	t := newTree(m, a, b.root.clone(), b.cutoff, b.offer)
	b.tree = t
	for len(t.open) > 0 && !b.halted {
		t.step()
	}
	b.done = !b.halted
}

// addCuts solves the root's relaxation exactly and cuts it as long as that pays.
func (b *bounder) addCuts(x *relaxation, a *ascent) *master {
	m := newMaster(x, b.root, b.p.largestLump())
	x.solve(b.root, &b.root.prices)
	m.addPaths()
	for range 60 {
		a.raise(b.root, 1, b.cutoff(), 0.01)
		m.addPaths()
	}
	m.start()
	first := x.cells + b.p.weeks
	for round := range cutRounds {
		before := b.root.bound
		m.generate(200, b.cutoff)
		if b.halted || m.best.rows == nil {
			return m
		}
		b.root.prices.copyFrom(&m.best, x.rows(), 0)
		m.weights(a.weight)
		a.factor = 1
		if b.root.bound >= b.cutoff() || round > 0 && b.root.bound-before < b.root.bound/1_000_000 {
			break
		}
		parts, short := a.parts(), m.shortage()
		found := x.separate(parts, short, 2*x.cells+10)
		if len(found) == 0 || b.halted {
			break
		}
		moved := x.keepCuts(func(i int) bool { return m.dual[first+i] > 1e-9 })
		for _, c := range found[:min(len(found), max(0, x.mostCuts()-len(x.cuts)))] {
			x.addCut(c)
		}
		b.root.prices.move(&m.best, moved, first, x.rows())
		m.restart(moved)
	}
	for _, j := range m.basis {
		b.root.basis = append(b.root.basis, int32(j))
	}
	b.root.cuts = len(x.cuts)
	return m
}

// mostCuts keeps the sum over all rows within the range of exact arithmetic.
func (x *relaxation) mostCuts() int { return 3*x.cells + 15*x.p.weeks }

// move takes over prices after cuts have changed places: moved maps old numbers
// to new ones. New cuts cost nothing yet.
func (v *prices) move(from *prices, moved map[int]int, first, rows int) {
	v.rows = append(v.rows[:0], from.rows[:first]...)
	for range rows - first {
		v.rows = append(v.rows, 0)
	}
	for i, to := range moved {
		v.rows[first+to] = from.rows[first+i]
	}
}

func (p *problem) largestLump() float64 {
	largest := 1.0
	for r := range p.rooms {
		for k := range p.rooms[r].slots {
			for _, l := range p.rooms[r].slots[k].lumps {
				largest = max(largest, float64(l.grams))
			}
		}
	}
	return largest
}
