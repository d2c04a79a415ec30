package fillplan

import "encoding/binary"

// column is a variable of the master: a room's timeline, or what takes up the
// difference in a row.
type column struct {
	kind  columnKind
	index int // cell, week, cut, room or count
	path  []choice
	rows  []int32
	coefs []float64
	cost  float64
	// fixed is how many of the coefficients are not of a node's counts, and worth
	// the cost while none of its fills is banned.
	fixed int
	worth float64
}

type columnKind uint8

// A slack takes up what a row has to spare; a help, at a price, what it lacks.
const (
	timeline columnKind = iota
	shortGrams
	overGrams
	slackYard
	slackCut
	helpCut
	helpRoom
	slackCount
	helpCount
)

// build works out a column's coefficients and cost from the rows as laid out.
func (s *master) build(c *column) {
	x := s.x
	firstCut := x.cells + x.p.weeks
	firstRoom := firstCut + len(x.cuts)
	c.rows, c.coefs = c.rows[:0], c.coefs[:0]
	add := func(row int, coef float64) {
		c.rows = append(c.rows, int32(row))
		c.coefs = append(c.coefs, coef)
	}
	price := func(cell int, of []int64) float64 {
		return float64(of[cell%x.p.products]) / s.unit[cell] * s.money
	}
	switch c.kind {
	case timeline:
		sums := map[int]float64{}
		var order []int
		put := func(row int, coef float64) {
			if _, seen := sums[row]; !seen {
				order = append(order, row)
			}
			sums[row] += coef
		}
		var cost int64
		for _, f := range c.path {
			slot := &x.p.rooms[c.index].slots[f.slot]
			cost += slot.base[f.week]
			for _, l := range x.p.inside(slot, f.week) {
				row := f.week*x.p.products + l.offset
				put(row, float64(l.grams)*s.unit[row])
			}
			put(x.cells+f.week, -float64(slot.compost)*s.unit[x.cells+f.week])
			for _, t := range x.columns[slot.shape*x.p.weeks+f.week] {
				row := firstCut + int(t.index)
				put(row, float64(t.coef)*s.unit[row])
			}
		}
		for _, row := range order {
			add(row, sums[row])
		}
		add(firstRoom+c.index, 1)
		c.cost = float64(cost) * s.money
	case shortGrams:
		add(c.index, 1)
		for _, id := range x.cutsOf[c.index] {
			add(firstCut+int(id), 1)
		}
		c.cost = price(c.index, x.p.short)
	case overGrams:
		add(c.index, -1)
		c.cost = price(c.index, x.p.over)
	case slackYard:
		add(x.cells+c.index, -1)
	case slackCut:
		add(firstCut+c.index, -1)
	case helpCut:
		add(firstCut+c.index, 1)
		c.cost = barred
	case helpRoom:
		add(firstRoom+c.index, 1)
		c.cost = barred
	case slackCount:
		add(s.fixed+c.index, -1)
	case helpCount:
		add(s.fixed+c.index, 1)
		c.cost = barred
	}
	c.fixed, c.worth = len(c.rows), c.cost
	s.adapt(c)
}

// barred is the cost of what should not be, where the dearest lump costs one: more
// than any timeline, but not so much that prices leave their range.
const barred = 20

// adapt fits a column to the counts and bans of the node.
func (s *master) adapt(c *column) {
	c.rows, c.coefs, c.cost = c.rows[:c.fixed], c.coefs[:c.fixed], c.worth
	if (c.kind == slackCount || c.kind == helpCount) && c.index >= len(s.n.counts) {
		// Of no use in this node: an empty column that costs nothing.
		c.rows, c.coefs, c.cost = c.rows[:0], c.coefs[:0], 0
	}
	if c.kind != timeline {
		return
	}
	p := s.x.p
	area := p.in.Rooms[c.index].Area
	for i := range s.n.counts {
		row := &s.n.counts[i]
		fills := 0
		for _, f := range c.path {
			if p.rooms[c.index].slots[f.slot].programme == row.programme && row.firstWeek <= f.week && f.week < row.endWeek && row.covers(c.index, area) {
				fills++
			}
		}
		if fills > 0 {
			c.rows = append(c.rows, int32(s.fixed+i))
			c.coefs = append(c.coefs, -float64(row.weight())*float64(fills))
		}
	}
	week := p.rooms[c.index].free
	for _, f := range append(c.path, choice{slot: -1, week: p.weeks}) {
		for ; week < f.week; week++ {
			if s.n.banned.has(p.fills + c.index*p.weeks + week) {
				c.cost = c.worth + barred
			}
		}
		if f.slot >= 0 {
			slot := &p.rooms[c.index].slots[f.slot]
			if s.n.banned.has(slot.first + f.week) {
				c.cost = c.worth + barred
			}
			week = f.week + slot.occ
		}
	}
}

// key tells columns apart, whatever the rows.
func (c *column) key() string {
	key := binary.AppendUvarint([]byte{byte(c.kind)}, uint64(c.index))
	for _, f := range c.path {
		key = binary.AppendUvarint(key, uint64(f.slot))
		key = binary.AppendUvarint(key, uint64(f.week))
	}
	return string(key)
}
