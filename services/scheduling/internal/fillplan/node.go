package fillplan

import "slices"

// node is a part of the search space: fills forbidden, counts limited.
type node struct {
	// bound is a proven lower bound on the cost of every plan of the node, in
	// millicents.
	bound  int64
	banned *mask
	counts []count
	prices prices
	// basis are the basic columns of the linear relaxation the node inherits: its
	// parent's, then its own.
	basis []int32
	// cuts is how many cuts the basis knows of.
	cuts int
	// parts is how much of each fill its relaxation makes, once solved.
	parts []fillPart
}

// fillPart is the part of a fill that a plan in parts makes.
type fillPart struct {
	fill int32
	part float64
}

func (n *node) clone() *node {
	c := &node{bound: n.bound, banned: n.banned.clone(), counts: slices.Clone(n.counts), basis: n.basis, cuts: n.cuts}
	c.prices.copyFrom(&n.prices, len(n.prices.rows), len(n.counts))
	return c
}

// count is a row a branch adds: the number of fills of one programme, in rooms
// of an area range, in a range of weeks, is at least or at most limit.
type count struct {
	programme          int
	minArea, maxArea   int64
	firstWeek, endWeek int
	room               int // a single room, or -1
	limit              int
	atLeast            bool
}

func (c *count) covers(room int, area int64) bool {
	if c.room >= 0 {
		return room == c.room
	}
	return c.minArea <= area && area <= c.maxArea
}

// weight is +1 for an at-most row and -1 for an at-least row, so that every
// count row reads weight × fills <= weight × limit.
func (c *count) weight() int64 {
	if c.atLeast {
		return -1
	}
	return 1
}

// mask is a set of fills, by room, slot and week, then of idle weeks, by room
// and week.
type mask struct {
	bits []uint64
}

func newMask(p *problem) *mask {
	return &mask{bits: make([]uint64, (p.fills+len(p.rooms)*p.weeks)/64+1)}
}

func (m *mask) has(i int) bool { return m.bits[i>>6]&(1<<(i&63)) != 0 }
func (m *mask) set(i int)      { m.bits[i>>6] |= 1 << (i & 63) }
func (m *mask) clone() *mask   { return &mask{bits: slices.Clone(m.bits)} }
