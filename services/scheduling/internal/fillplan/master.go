package fillplan

import (
	"math"
	"math/rand/v2"
	"slices"
)

// master solves the linear relaxation with its cuts by column generation
// (Dantzig and Wolfe, "Decomposition Principle for Linear Programs", Operations
// Research 8, 1960): a revised simplex over room timelines, whose columns come
// from planning each room at the current prices. It works in floating point;
// the bounds it yields are those its rounded prices prove in the relaxation.
//
// Rows, each an equation with a slack: product-weeks, yard weeks, cuts, rooms,
// and the counts of the node at hand.
type master struct {
	x *relaxation
	n *node
	// unit turns a row's numbers, money the costs, to about one.
	unit  []float64
	money float64
	rhs   []float64
	// wanted is the right-hand side of the fixed rows before any is loosened.
	wanted []float64
	// m is the number of rows, fixed of those that are not a node's counts.
	m, fixed int
	// cutSlack are the slack columns of cuts, each followed by its help.
	cutSlack []int
	// counted are the slack columns of counts, each followed by its help.
	counted      []int
	countColumns int

	columns []column
	known   map[string]bool
	basis   []int // by row, the column basic in it
	basic   []bool
	inverse []float64 // m×m, column after column
	value   []float64 // of the basic columns
	dual    []float64
	alpha   []float64
	pivots  int
	// Scratch of the simplex.
	hopeful           []int
	gains             []gain
	filled, filledToo []int
	// best are the prices that proved most so far.
	best  prices
	bound int64 // what best proves, times scale
	rng   *rand.Rand
}

func newMaster(x *relaxation, n *node, grams float64) *master {
	s := &master{x: x, n: n, known: map[string]bool{}, rng: rand.New(rand.NewPCG(1, 2))}
	s.unit = []float64{1 / grams}
	var dearest int64 = 1
	for q := range x.p.products {
		dearest = max(dearest, x.p.short[q], x.p.over[q])
	}
	s.money = 1 / (grams * float64(dearest))
	for i := range x.cells {
		s.columns = append(s.columns, column{kind: shortGrams, index: i}, column{kind: overGrams, index: i})
	}
	for w := range x.p.weeks {
		s.columns = append(s.columns, column{kind: slackYard, index: w})
	}
	for r := range x.p.rooms {
		s.columns = append(s.columns, column{kind: helpRoom, index: r})
	}
	s.bound = math.MinInt64
	return s
}

// addPaths takes the relaxation's current timelines as columns.
func (s *master) addPaths() int {
	added := 0
	for r, path := range s.x.paths {
		c := column{kind: timeline, index: r, path: path}
		key := c.key()
		if s.known[key] {
			continue
		}
		s.known[key] = true
		c.path = slices.Clone(path)
		s.columns = append(s.columns, c)
		s.basic = append(s.basic, false)
		if s.m > 0 {
			s.build(&s.columns[len(s.columns)-1])
		}
		added++
	}
	return added
}

// layRows sets out the rows for the relaxation's cuts.
func (s *master) layRows() {
	x := s.x
	grams := s.unit[0]
	firstCut := x.cells + x.p.weeks
	firstRoom := firstCut + len(x.cuts)
	s.m = firstRoom + len(x.p.rooms)
	s.fixed = s.m
	s.unit = make([]float64, s.m)
	s.rhs = make([]float64, s.m)
	for i, need := range x.p.need {
		s.unit[i] = grams
		s.rhs[i] = float64(need) * grams
	}
	var compost int64 = 1
	for r := range x.p.rooms {
		for k := range x.p.rooms[r].slots {
			compost = max(compost, x.p.rooms[r].slots[k].compost)
		}
	}
	for w, kg := range x.p.in.YardKg {
		s.unit[x.cells+w] = 1 / float64(compost)
		s.rhs[x.cells+w] = -float64(kg) / float64(compost)
	}
	for i := range x.cuts {
		unit := 1.0
		switch x.cuts[i].unit {
		case inGrams:
			unit = grams
		case inCompost:
			unit = 1 / float64(compost)
		}
		s.unit[firstCut+i] = unit
		s.rhs[firstCut+i] = float64(x.cuts[i].rhs) * unit
	}
	for r := range x.p.rooms {
		s.unit[firstRoom+r] = 1
		s.rhs[firstRoom+r] = 1
	}
	// A little noise keeps the simplex from cycling among equal bases.
	for i := range s.rhs {
		s.rhs[i] += (s.rng.Float64() + 0.5) * 1e-7
	}
	s.wanted = slices.Clone(s.rhs)
	s.hopeful = s.hopeful[:0]
}

// layout sets out the rows and builds every column.
func (s *master) layout() {
	s.layRows()
	kept := s.columns[:0]
	for _, c := range s.columns {
		if c.kind != slackCut && c.kind != helpCut {
			kept = append(kept, c)
		}
	}
	s.columns, s.cutSlack = kept, s.cutSlack[:0]
	s.addSlacks(0)
	for i := range s.columns {
		s.build(&s.columns[i])
	}
}

// addSlacks adds the slacks, each followed by its help, of the cuts from one on.
func (s *master) addSlacks(from int) {
	for i := from; i < len(s.x.cuts); i++ {
		s.cutSlack = append(s.cutSlack, len(s.columns))
		s.columns = append(s.columns, column{kind: slackCut, index: i}, column{kind: helpCut, index: i})
	}
}

// grow takes cuts up without losing the bases of open nodes: all columns keep their
// numbers.
func (s *master) grow(cuts []cut) {
	from := len(s.x.cuts)
	for _, c := range cuts {
		s.x.addCut(c)
	}
	s.layRows()
	s.addSlacks(from)
	s.basic = append(s.basic, make([]bool, 2*len(cuts))...)
	for i := range s.columns {
		s.build(&s.columns[i])
	}
}

// visit takes a node up from the basis it inherits, solves its relaxation in at
// most a number of rounds, and leaves with it the bound, prices and basis found.
func (s *master) visit(n *node, rounds int, cutoff func() int64) {
	n.prices.widen(s.x.rows())
	s.n = n
	s.m = s.fixed + len(n.counts)
	s.rhs, s.unit = append(s.rhs[:0], s.wanted...), s.unit[:s.fixed]
	s.best.rows, s.bound = nil, math.MinInt64
	s.hopeful = s.hopeful[:0]
	for i := range n.counts {
		row := &n.counts[i]
		s.unit = append(s.unit, 1)
		s.rhs = append(s.rhs, -float64(row.weight())*float64(row.limit)-1e-7)
		for s.countColumns <= i {
			s.counted = append(s.counted, len(s.columns))
			for _, kind := range []columnKind{slackCount, helpCount} {
				s.columns = append(s.columns, column{kind: kind, index: s.countColumns})
				s.basic = append(s.basic, false)
				s.build(&s.columns[len(s.columns)-1])
			}
			s.countColumns++
		}
	}
	for i := range s.columns {
		s.adapt(&s.columns[i])
	}
	s.basis = s.basis[:0]
	for _, j := range n.basis {
		s.basis = append(s.basis, int(j))
	}
	// Cuts and counts that came after the basis begin with their slacks.
	counted := len(n.basis) - (s.fixed - (len(s.x.cuts) - n.cuts))
	s.basis = append(s.basis, s.cutSlack[n.cuts:]...)
	s.basis = append(s.basis, s.counted[counted:len(n.counts)]...)
	if !s.refactor() || !s.help() {
		if s.plainBasis(); !s.refactor() || !s.help() {
			return
		}
	}
	s.generate(rounds, cutoff)
	if s.best.rows != nil {
		n.prices.copyFrom(&s.best, len(s.best.rows), len(s.best.counts))
	}
	n.cuts = len(s.x.cuts)
	n.basis = make([]int32, len(s.basis))
	for i, j := range s.basis {
		n.basis[i] = int32(j)
	}
}

// help makes the basis feasible by putting the help of a row in place of its
// slack where that would be negative; false when that is not enough.
func (s *master) help() bool {
	changed := false
	for i, v := range s.value {
		j := s.basis[i]
		if k := s.columns[j].kind; v < 0 && (k == slackCut || k == slackCount) {
			// The help of a cut or count follows its slack.
			s.basis[i] = j + 1
			changed = true
		}
	}
	if changed && !s.refactor() {
		return false
	}
	s.loosen()
	return slices.Min(s.value) >= 0
}

// looseness is the largest negative value that rounding is blamed for.
const looseness = 1e-3

// loosen moves the right-hand side so that columns which rounding has made a little
// negative stand at 0. What a node's prices prove does not depend on it.
func (s *master) loosen() {
	for i, v := range s.value {
		if v >= 0 || v < -looseness {
			continue
		}
		c := &s.columns[s.basis[i]]
		for k, row := range c.rows {
			s.rhs[row] -= v * c.coefs[k]
		}
		s.value[i] = 0
	}
}

// start makes the first basis: everything short or over, nothing filled.
func (s *master) start() {
	s.layout()
	s.plainBasis()
	s.refactor()
}

// plainBasis is that of a plan that fills nothing, with the help of every room.
func (s *master) plainBasis() {
	x := s.x
	s.basis = make([]int, s.fixed)
	for j := range s.columns {
		switch c := &s.columns[j]; c.kind {
		case shortGrams:
			if x.p.need[c.index] >= 0 {
				s.basis[c.index] = j
			}
		case overGrams:
			if x.p.need[c.index] < 0 {
				s.basis[c.index] = j
			}
		case slackYard:
			s.basis[x.cells+c.index] = j
		case slackCut:
			s.basis[x.cells+x.p.weeks+c.index] = j
		case helpRoom:
			s.basis[x.cells+x.p.weeks+len(x.cuts)+c.index] = j
		}
	}
	for i := range s.n.counts {
		s.basis = append(s.basis, s.counted[i])
	}
}

// restart lays the rows out afresh after a change of cuts and goes on from the
// basis it had: kept maps the cuts still there to their new numbers. New cuts
// start with their slack, or with their help where they are broken.
func (s *master) restart(kept map[int]int) {
	var basics []column
	for _, j := range s.basis {
		basics = append(basics, s.columns[j])
	}
	s.best.rows, s.bound = nil, math.MinInt64
	s.layout()
	place := map[string]int{}
	for j := range s.columns {
		place[s.columns[j].key()] = j
	}
	isOld := make([]bool, len(s.x.cuts))
	for _, to := range kept {
		isOld[to] = true
	}
	s.basis = s.basis[:0]
	for _, c := range basics {
		if c.kind == slackCut || c.kind == helpCut {
			to, ok := kept[c.index]
			if !ok {
				continue
			}
			c.index = to
		}
		s.basis = append(s.basis, place[c.key()])
	}
	for i, old := range isOld {
		if !old {
			s.basis = append(s.basis, place[(&column{kind: slackCut, index: i}).key()])
		}
	}
	if len(s.basis) != s.m || !s.refactor() {
		s.start()
		return
	}
	if !s.help() {
		s.start()
	}
}

// prices turns the duals into the relaxation's prices.
func (s *master) prices(v *prices) {
	x := s.x
	v.rows = v.rows[:0]
	for i := range x.rows() {
		low, high := x.priceRange(i)
		v.rows = append(v.rows, clampStep(0, s.dual[i]*s.unit[i]/s.money*float64(x.scale), low, high))
	}
	v.counts = v.counts[:0]
	for i := range s.n.counts {
		v.counts = append(v.counts, clampStep(0, s.dual[s.fixed+i]/s.money*float64(x.scale), 0, x.highestCount()))
	}
}

// generate prices columns and adds new ones until the relaxation is solved to
// within a tolerance, or for at most a number of rounds. It leaves the best
// prices in best and what they prove in bound.
func (s *master) generate(rounds int, cutoff func() int64) {
	var now, trial prices
	for range rounds {
		cost := s.optimise(1000)
		s.prices(&now)
		trial.copyFrom(&now, len(now.rows), len(now.counts))
		if len(s.best.rows) == len(now.rows) {
			for i := range trial.rows {
				trial.rows[i] = (trial.rows[i] + s.best.rows[i]) / 2
			}
			for i := range trial.counts {
				trial.counts[i] = (trial.counts[i] + s.best.counts[i]) / 2
			}
		}
		added := 0
		for _, v := range []*prices{&trial, &now} {
			bound := s.x.solve(s.n, v)
			if bound == math.MaxInt64 {
				s.n.bound = bound
				return
			}
			if bound > s.bound {
				s.bound = bound
				s.best.copyFrom(v, len(v.rows), len(v.counts))
			}
			added += s.addPaths()
		}
		s.n.bound = max(s.n.bound, ceilDiv(s.bound, s.x.scale))
		gap := cost/s.money - float64(s.bound)/float64(s.x.scale)
		if s.x.stopped() || added == 0 || gap < 2e-5*math.Abs(cost/s.money) || s.n.bound >= cutoff() {
			break
		}
	}
}

// weights is how much of each fill the current solution makes.
func (s *master) weights(weight []float64) {
	clear(weight)
	for i, v := range s.value {
		c := &s.columns[s.basis[i]]
		for _, f := range c.path {
			weight[s.x.p.rooms[c.index].slots[f.slot].first+f.week] += v
		}
	}
}

// parts lists what weights tells, where it is not nothing.
func (s *master) parts() []fillPart {
	at := map[int32]int{}
	parts := []fillPart{}
	for i, v := range s.value {
		c := &s.columns[s.basis[i]]
		for _, f := range c.path {
			fill := int32(s.x.p.rooms[c.index].slots[f.slot].first + f.week)
			k, known := at[fill]
			if !known {
				k = len(parts)
				at[fill] = k
				parts = append(parts, fillPart{fill: fill})
			}
			parts[k].part += v
		}
	}
	return parts
}

// shortage is the grams short of each product-week in the current solution.
func (s *master) shortage() []float64 {
	short := make([]float64, s.x.cells)
	for i, v := range s.value {
		if c := &s.columns[s.basis[i]]; c.kind == shortGrams {
			short[c.index] = v / s.unit[c.index]
		}
	}
	return short
}
