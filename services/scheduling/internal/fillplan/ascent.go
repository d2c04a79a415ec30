package fillplan

import (
	"math"
	"slices"
)

// ascent raises a node's bound by the volume algorithm (Barahona and Anbil,
// "The volume algorithm: producing primal solutions with a subgradient method",
// Mathematical Programming 87, 2000): steps along the rows broken by a moving
// average of the room plans. The average tells the branching what the linear
// relaxation would do.
type ascent struct {
	x *relaxation
	// weight is the moving average: weight[i]*factor is the part of fill i.
	weight []float64
	factor float64
	// average and latest say by how much each row is broken.
	average, latest, direction rowSums
	// trial and best are prices.
	trial, best prices
	// yardSize2 and countSize2 are the squared sizes of a kilogram and of a fill
	// in grams, so that rows of different units weigh alike.
	yardSize2, countSize2 float64
}

// prices are what a relaxation charges for its rows and a node's counts, times
// the scale.
type prices struct {
	rows, counts []int64
}

type rowSums struct {
	rows, counts []float64
}

func (v *prices) copyFrom(from *prices, rows, counts int) {
	v.rows = slices.Grow(v.rows[:0], rows)[:rows]
	v.counts = slices.Grow(v.counts[:0], counts)[:counts]
	clear(v.rows[copy(v.rows, from.rows):])
	clear(v.counts[copy(v.counts, from.counts):])
}

// widen adds rows that cost nothing.
func (v *prices) widen(rows int) {
	for len(v.rows) < rows {
		v.rows = append(v.rows, 0)
	}
}

func (s *rowSums) resize(rows, counts int) {
	s.rows = slices.Grow(s.rows[:0], rows)[:rows]
	s.counts = slices.Grow(s.counts[:0], counts)[:counts]
}

func newAscent(x *relaxation) *ascent {
	a := &ascent{x: x, weight: make([]float64, x.p.fills), yardSize2: 1, countSize2: 1}
	var grams, compost, slots float64
	for i := range x.p.rooms {
		for k := range x.p.rooms[i].slots {
			s := &x.p.rooms[i].slots[k]
			var peak int64
			for _, l := range s.lumps {
				peak = max(peak, l.grams)
			}
			grams += float64(peak)
			compost += float64(s.compost)
			slots++
		}
	}
	if compost > 0 && grams > 0 {
		a.yardSize2 = (grams / compost) * (grams / compost)
		a.countSize2 = (grams / slots) * (grams / slots)
	}
	return a
}

func (a *ascent) rowSize2(i int) float64 {
	switch a.x.unitOf(i) {
	case inCompost:
		return a.yardSize2
	case inFills:
		return a.countSize2
	}
	return 1
}

func (x *relaxation) unitOf(i int) rowUnit {
	switch first := x.cells + x.p.weeks; {
	case i < x.cells:
		return inGrams
	case i < first:
		return inCompost
	default:
		return x.cuts[i-first].unit
	}
}

// workPerRow is the work of one step along one row, beside planning the rooms.
const workPerRow = 40

// leastStep ends an ascent that has all but come to rest.
const leastStep = 1e-6

// raise improves the node's prices and bound by at most the given number of
// solves, stopping once the bound reaches cutoff (millicents). lambda is the
// length of the first step as a part of the way to the cutoff.
func (a *ascent) raise(n *node, solves int, cutoff int64, lambda float64) {
	x := a.x
	rows, counts := x.rows(), len(n.counts)
	a.average.resize(rows, counts)
	a.latest.resize(rows, counts)
	a.direction.resize(rows, counts)
	a.best.copyFrom(&n.prices, rows, counts)
	a.trial.copyFrom(&n.prices, rows, counts)
	top := x.solve(n, &a.best)
	if top == math.MaxInt64 {
		n.bound = math.MaxInt64
		return
	}
	n.bound = max(n.bound, ceilDiv(top, x.scale))
	x.activity(n, a.average.rows, a.average.counts)
	a.mix(1)
	target := cutoff * x.scale
	alpha := 0.1
	misses := 0
	for range solves {
		if top >= target || lambda < leastStep || x.stopped() {
			break
		}
		length := a.aim()
		if length == 0 {
			break
		}
		a.move(lambda * float64(target-top) / length)
		x.work(workPerRow * rows)
		value := x.solve(n, &a.trial)
		if value == math.MaxInt64 {
			n.bound = math.MaxInt64
			return
		}
		x.activity(n, a.latest.rows, a.latest.counts)
		agree := a.blend(alpha)
		if value > top {
			top = value
			n.bound = max(n.bound, ceilDiv(top, x.scale))
			a.best.copyFrom(&a.trial, rows, counts)
			if agree > 0 {
				lambda *= 1.1
			}
			misses = 0
		} else if misses++; misses >= 20 {
			misses = 0
			lambda *= 0.75
			alpha = max(0.01, alpha*0.8)
		}
	}
	n.prices.copyFrom(&a.best, rows, counts)
	n.bound = max(n.bound, ceilDiv(top, x.scale))
}

// aim sets the direction to the average, as far as the best prices can follow
// it, and returns its squared length.
func (a *ascent) aim() float64 {
	x := a.x
	rows := a.direction.rows
	for i, v := range a.average.rows {
		low, high := x.priceRange(i)
		price := a.best.rows[i]
		if v < 0 && price <= low || v > 0 && price >= high {
			v = 0
		}
		rows[i] = v
	}
	sum := 0.0
	for i, v := range rows {
		sum += v * v * a.rowSize2(i)
	}
	for i, v := range a.average.counts {
		if v < 0 && a.best.counts[i] <= 0 {
			v = 0
		}
		a.direction.counts[i] = v
		sum += v * v * a.countSize2
	}
	return sum
}

// move sets the trial prices a step from the best along the direction.
func (a *ascent) move(step float64) {
	for i, v := range a.direction.rows {
		low, high := a.x.priceRange(i)
		a.trial.rows[i] = clampStep(a.best.rows[i], step*v*a.rowSize2(i), low, high)
	}
	for i, v := range a.direction.counts {
		a.trial.counts[i] = clampStep(a.best.counts[i], step*v*a.countSize2, 0, a.x.highestCount())
	}
}

func clampStep(from int64, step float64, low, high int64) int64 {
	to := float64(from) + step
	if to >= float64(high) {
		return high
	}
	return max(low, int64(math.Round(to)))
}

// mostCounts limits the counts of a node, so that their prices may be high.
const mostCounts = 64

// highestCount is the highest price of a node's count.
func (x *relaxation) highestCount() int64 {
	shortest := x.p.weeks
	for _, g := range x.p.in.Programmes {
		shortest = min(shortest, g.Weeks)
	}
	fills := max(1, len(x.p.rooms)) * (x.p.weeks/shortest + 1)
	return (math.MaxInt64 >> 5) / mostCounts / int64(fills)
}

func (x *relaxation) priceRange(i int) (low, high int64) {
	switch first := x.cells + x.p.weeks; {
	case i < x.cells:
		return -x.scale * x.p.over[i%x.p.products], x.scale * x.p.short[i%x.p.products]
	case i < first:
		return 0, x.p.highestYard
	default:
		return 0, x.cuts[i-first].highest
	}
}

// blend moves the average towards the latest plans by the share, between a tenth
// of most and most, that makes it break the rows least. It returns whether the
// latest direction agrees with the average (positive) or not.
func (a *ascent) blend(most float64) float64 {
	var dd, dv, agree float64
	sum := func(latest, average, size2 float64) {
		d := latest - average
		dd += d * d * size2
		dv -= d * average * size2
		agree += latest * average * size2
	}
	for i, v := range a.latest.rows {
		sum(v, a.average.rows[i], a.rowSize2(i))
	}
	for i, v := range a.latest.counts {
		sum(v, a.average.counts[i], a.countSize2)
	}
	share := most
	if dd > 0 {
		share = min(most, max(most/10, dv/dd))
	}
	for i, v := range a.latest.rows {
		a.average.rows[i] += share * (v - a.average.rows[i])
	}
	for i, v := range a.latest.counts {
		a.average.counts[i] += share * (v - a.average.counts[i])
	}
	a.mix(share)
	return agree
}

// mix moves the average fills towards the latest paths by a share.
func (a *ascent) mix(share float64) {
	if share >= 1 {
		clear(a.weight)
		a.factor = 1
	} else {
		a.factor *= 1 - share
	}
	if a.factor < 1e-100 {
		for i := range a.weight {
			a.weight[i] *= a.factor
		}
		a.factor = 1
	}
	for r, path := range a.x.paths {
		for _, c := range path {
			a.weight[a.x.p.rooms[r].slots[c.slot].first+c.week] += share / a.factor
		}
	}
}

// parts is the average number of fills by shape and week.
func (a *ascent) parts() []float64 {
	x := a.x
	part := make([]float64, len(x.worth))
	for r := range x.p.rooms {
		for k := range x.p.rooms[r].slots {
			s := &x.p.rooms[r].slots[k]
			for w := range x.p.weeks {
				part[s.shape*x.p.weeks+w] += a.weight[s.first+w] * a.factor
			}
		}
	}
	return part
}

func ceilDiv(a, b int64) int64 {
	q := a / b
	if a%b > 0 {
		q++
	}
	return q
}
