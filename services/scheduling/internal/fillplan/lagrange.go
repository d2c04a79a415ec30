package fillplan

import (
	"math"
)

// relaxation prices the demand and yard rows of a problem, and cuts derived from
// them, so that the rooms can be planned one by one. All of it is in whole
// numbers: a price is held times scale, and so is every value computed from it,
// hence a bound is exact for the prices it was computed from.
//
// The rows are, in this order, the product-weeks (price per gram, between minus
// the surplus price and the shortage price), the weeks of the yard (price per
// kilogram, at least 0) and the cuts (at least 0). A node's counts have prices
// of their own.
type relaxation struct {
	p     *problem
	scale int64
	cells int
	cuts  []cut
	// cutsOf lists the cuts on a product-week, which share its shortage price.
	cutsOf [][]int32
	// columns lists, by shape and week, the cuts a fill takes part in.
	columns [][]term

	// shapes are the pairs of programme and area; fills of one shape and week
	// have the same part in every row but the counts.
	shapes []shape

	// terms is the number of terms of all cuts.
	terms int
	// work is told of work done, in about a nanosecond each.
	work func(int)
	// stopped says that the work is to end.
	stopped func() bool

	// worth[i] is what a fill of shape i/weeks in week i%weeks is worth at the
	// current prices.
	worth  []int64
	metre  []int64 // the same for a square metre, demand and yard rows only
	short  []int64
	paths  [][]choice
	after  []int64
	before []int64
}

type shape struct {
	programme int
	area      int64
}

// term is the coefficient of a fill in a cut, or of a cut in a fill's column.
type term struct {
	index int32
	coef  int64
}

// cut is a row that every plan satisfies: the sum of coef × fills is at least
// rhs less the grams short in its product-weeks, if it has any.
type cut struct {
	rhs     int64
	terms   []term
	cells   []int32
	highest int64
	key     cutKey
	// unit says what the row counts.
	unit rowUnit
}

// rowUnit is what a row counts.
type rowUnit uint8

const (
	inGrams rowUnit = iota
	inCompost
	inFills
)

type cutKey struct {
	product, week, span int
	divisor             int64
	shifts              uint64
}

func newRelaxation(p *problem, work func(int)) *relaxation {
	x := &relaxation{p: p, work: work, cells: len(p.need), scale: p.priceScale()}
	index := map[shape]int{}
	for r := range p.rooms {
		for k := range p.rooms[r].slots {
			s := &p.rooms[r].slots[k]
			key := shape{s.programme, p.in.Rooms[r].Area}
			if _, known := index[key]; !known {
				index[key] = len(x.shapes)
				x.shapes = append(x.shapes, key)
			}
			s.shape = index[key]
		}
	}
	x.cutsOf = make([][]int32, x.cells)
	x.columns = make([][]term, len(x.shapes)*p.weeks)
	x.worth = make([]int64, len(x.shapes)*p.weeks)
	x.metre = make([]int64, p.weeks*len(p.in.Programmes))
	x.short = make([]int64, x.cells)
	x.paths = make([][]choice, len(p.rooms))
	x.after = make([]int64, p.weeks+1)
	x.before = make([]int64, p.weeks+1)
	return x
}

// newCutRelaxation is a relaxation with the yard rows rounded down.
func newCutRelaxation(p *problem, work func(int)) *relaxation {
	x := newRelaxation(p, work)
	for _, c := range x.yardCuts() {
		x.addCut(c)
	}
	return x
}

// rows is the number of priced rows apart from a node's counts.
func (x *relaxation) rows() int { return x.cells + x.p.weeks + len(x.cuts) }

func (x *relaxation) addCut(c cut) {
	id := int32(len(x.cuts))
	x.cuts = append(x.cuts, c)
	x.terms += len(c.terms)
	for _, i := range c.cells {
		x.cutsOf[i] = append(x.cutsOf[i], id)
	}
	for _, t := range c.terms {
		x.columns[t.index] = append(x.columns[t.index], term{index: id, coef: t.coef})
	}
}

// keepCuts drops the cuts that keep refuses and returns where the others moved.
func (x *relaxation) keepCuts(keep func(i int) bool) map[int]int {
	moved := map[int]int{}
	old := x.cuts
	x.cuts, x.terms = nil, 0
	x.cutsOf = make([][]int32, x.cells)
	for i := range x.columns {
		x.columns[i] = x.columns[i][:0]
	}
	for i, c := range old {
		if c.unit == inFills || keep(i) {
			moved[i] = len(x.cuts)
			x.addCut(c)
		}
	}
	return moved
}

// priceScale is the largest power of two up to 1024 by which the dearest cost
// can be multiplied within a thirty-second of the range of int64.
func (p *problem) priceScale() int64 {
	scale := int64(1)
	for scale < 1024 && p.ceiling <= (math.MaxInt64>>5)/(2*scale) {
		scale *= 2
	}
	return scale
}

// solve plans every room by the prices and returns the bound they prove, times
// scale; math.MaxInt64 when some room has no timeline left.
func (x *relaxation) solve(n *node, v *prices) int64 {
	x.work(4*x.p.fills + x.terms + 2*len(n.counts)*len(x.p.rooms))
	total := x.constant(n, v)
	x.appraise(v)
	for r := range x.p.rooms {
		cost := x.plan(r, n, v)
		if cost >= never {
			return math.MaxInt64
		}
		total += cost
	}
	return total
}

// constant is the part of the bound that no room changes.
func (x *relaxation) constant(n *node, v *prices) int64 {
	total := x.scale * x.p.fixed
	for i, need := range x.p.need {
		total += v.rows[i] * need
	}
	for w, kg := range x.p.in.YardKg {
		total -= v.rows[x.cells+w] * kg
	}
	first := x.cells + x.p.weeks
	for i := range x.cuts {
		total += v.rows[first+i] * x.cuts[i].rhs
	}
	for cell, ids := range x.cutsOf {
		x.short[cell] = 0
		if len(ids) == 0 || x.p.need[cell] <= 0 {
			continue
		}
		q := cell % x.p.products
		left := x.scale*x.p.short[q] - v.rows[cell]
		for _, id := range ids {
			left -= v.rows[first+int(id)]
		}
		if left < 0 {
			x.short[cell] = x.p.need[cell]
			total += left * x.p.need[cell]
		}
	}
	for i := range n.counts {
		c := &n.counts[i]
		total -= v.counts[i] * c.weight() * int64(c.limit)
	}
	return total
}

// appraise works out what a fill of each shape and week is worth.
func (x *relaxation) appraise(v *prices) {
	p := x.p
	for g := range p.perMetre {
		programme := &p.perMetre[g]
		metre := x.metre[g*p.weeks : (g+1)*p.weeks]
		for w := range metre {
			first := w * p.products
			cells := v.rows[first:x.cells]
			var sum int64
			for _, l := range programme.lumps[:programme.upto[min(programme.occ, p.weeks-w)]] {
				sum += cells[l.offset] * l.grams
			}
			metre[w] = sum - v.rows[x.cells+w]*p.in.Programmes[g].CompostKg
		}
	}
	for i, s := range x.shapes {
		worth := x.worth[i*p.weeks : (i+1)*p.weeks]
		for w, sum := range x.metre[s.programme*p.weeks : (s.programme+1)*p.weeks] {
			worth[w] = sum * s.area
		}
	}
	first := x.cells + p.weeks
	for i := range x.cuts {
		if price := v.rows[first+i]; price > 0 {
			for _, t := range x.cuts[i].terms {
				x.worth[t.index] += price * t.coef
			}
		}
	}
}

// plan finds a room's cheapest timeline at the current worths and returns its
// cost times scale, leaving the timeline in paths and the cost from each week on
// in after.
func (x *relaxation) plan(r int, n *node, v *prices) int64 {
	p := x.p
	room := &p.rooms[r]
	path := x.paths[r][:0]
	x.paths[r] = path
	if room.free >= p.weeks {
		return 0
	}
	x.priceSlots(r, n, v)
	after := x.after
	after[p.weeks] = 0
	for w := p.weeks - 1; w >= room.free; w-- {
		low := int64(never)
		if room.idle[w] && !n.banned.has(p.fills+r*p.weeks+w) {
			low = after[w+1]
		}
		for k := range room.slots {
			slot := &room.slots[k]
			if d := slot.reduced[w]; d < never {
				low = min(low, d+after[min(p.weeks, w+slot.occ)])
			}
		}
		after[w] = low
		if low > never/2 {
			after[w] = never
		}
	}
	if after[room.free] >= never {
		return never
	}
	for w := room.free; w < p.weeks; {
		next := w + 1
		for k := range room.slots {
			slot := &room.slots[k]
			if d := slot.reduced[w]; d < never && after[w] == d+after[min(p.weeks, w+slot.occ)] {
				path = append(path, choice{slot: k, week: w})
				next = w + slot.occ
				break
			}
		}
		w = next
	}
	x.paths[r] = path
	return after[room.free]
}

// priceSlots computes the cost of each fill of a room at the current worths.
func (x *relaxation) priceSlots(r int, n *node, v *prices) {
	p := x.p
	room := &p.rooms[r]
	for k := range room.slots {
		slot := &room.slots[k]
		worth := x.worth[slot.shape*p.weeks : (slot.shape+1)*p.weeks]
		for w := room.free; w < p.weeks; w++ {
			if slot.base[w] >= never || n.banned.has(slot.first+w) {
				slot.reduced[w] = never
				continue
			}
			slot.reduced[w] = x.scale*slot.base[w] - worth[w]
		}
	}
	for i := range n.counts {
		c := &n.counts[i]
		price := v.counts[i] * c.weight()
		if price == 0 || !c.covers(r, p.in.Rooms[r].Area) {
			continue
		}
		if k := room.slotOf(c.programme); k >= 0 {
			reduced := room.slots[k].reduced
			for w := max(room.free, c.firstWeek); w < c.endWeek; w++ {
				if reduced[w] < never {
					reduced[w] += price
				}
			}
		}
	}
}

// activity adds up by how much the current paths break each row: demand less
// supply, compost less capacity, right-hand side less left, fills less limit.
func (x *relaxation) activity(n *node, rows, counts []float64) {
	p := x.p
	for i, need := range p.need {
		rows[i] = float64(need - x.short[i])
	}
	for w, kg := range p.in.YardKg {
		rows[x.cells+w] = -float64(kg)
	}
	cuts := rows[x.cells+p.weeks:]
	for i := range x.cuts {
		rhs := x.cuts[i].rhs
		for _, cell := range x.cuts[i].cells {
			rhs -= x.short[cell]
		}
		cuts[i] = float64(rhs)
	}
	for i := range n.counts {
		c := &n.counts[i]
		counts[i] = -float64(c.weight() * int64(c.limit))
	}
	for r, path := range x.paths {
		area := p.in.Rooms[r].Area
		for _, c := range path {
			slot := &p.rooms[r].slots[c.slot]
			first := c.week * p.products
			for _, l := range p.inside(slot, c.week) {
				rows[first+l.offset] -= float64(l.grams)
			}
			rows[x.cells+c.week] += float64(slot.compost)
			for _, t := range x.columns[slot.shape*p.weeks+c.week] {
				cuts[t.index] -= float64(t.coef)
			}
			for i := range n.counts {
				row := &n.counts[i]
				if row.programme == slot.programme && row.firstWeek <= c.week && c.week < row.endWeek && row.covers(r, area) {
					counts[i] += float64(row.weight())
				}
			}
		}
	}
}
