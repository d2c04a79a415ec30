package flow

import "math"

// layout is the solver's own order of the arcs, chosen so that pricing is fast
// and each block of arcs a fair sample of the network. Self-loops are left
// out: their flow depends on nothing but their own cost.
type layout struct {
	arcs     int32   // number of arcs kept
	fullArcs int     // number of full arcs
	input    []int32 // arc of the Problem; its complement, which is negative, where the arc is full
	// tail and head of what is priced: the arc or, where it is full, the way
	// back. The arcs of a group share their head: there head is not used, and
	// tail is complemented where the arc is full.
	tail, head []int32
	// Costs, in 32 bits where all fit: half the memory to stream through the
	// cache. Outside groups they are negated where the arc is full.
	cost32 []int32
	cost64 []int64
	narrow bool
	// grouped: arcs stand by head and are priced so. greedy: the first basis
	// is made by takeAll.
	grouped, greedy bool
	// reversed: every arc is turned around and every supply negated, so that
	// nodes which only send become nodes which only receive.
	reversed bool

	block           int // arcs priced before the best of them enters the basis
	groups          []group
	sends, receives []bool  // node has an arc out, in, self-loops aside, in solver direction
	count           []int32 // two a node: its arcs in and out; see also group
}

// group is a run of arcs with one head, cut so that none exceeds a block.
type group struct {
	head       int32
	start, end int32
}

// full says whether arc a is outside the tree and at capacity.
func (l *layout) full(a int32) bool { return l.input[a] < 0 }

// flip moves an arc outside the tree from one of its bounds to the other.
func (l *layout) flip(a int32) {
	l.input[a] = ^l.input[a]
	switch {
	case l.grouped:
		l.tail[a] = ^l.tail[a]
	case l.narrow:
		l.tail[a], l.head[a] = l.head[a], l.tail[a]
		l.cost32[a] = -l.cost32[a]
	default:
		l.tail[a], l.head[a] = l.head[a], l.tail[a]
		l.cost64[a] = -l.cost64[a]
	}
	if l.full(a) {
		l.fullArcs++
	} else {
		l.fullArcs--
	}
}

// allFull lists the full arcs. In many networks there are none, and then the
// arcs need not be searched.
func (l *layout) allFull(yield func(int32) bool) {
	if l.fullArcs == 0 {
		return
	}
	for a := range l.arcs {
		if l.full(a) && !yield(a) {
			return
		}
	}
}

// arcOf returns the Problem's number of arc a.
func (l *layout) arcOf(a int32) int32 {
	i := l.input[a]
	return i ^ i>>31
}

// ends returns tail and head of the Problem's arc i in solver direction.
func (l *layout) ends(p *Problem, i int32) (tail, head int32) {
	if l.reversed {
		return p.To[i], p.From[i]
	}
	return p.From[i], p.To[i]
}

// loadCosts copies the costs, or sets them to 0 if free.
func (l *layout) loadCosts(p *Problem, maxCost int64, free bool) {
	l.narrow = maxCost <= math.MaxInt32
	if l.narrow {
		l.cost32 = resize(l.cost32, int(l.arcs))
	} else {
		l.cost64 = resize(l.cost64, int(l.arcs))
	}
	switch {
	case free && l.narrow:
		clear(l.cost32)
	case free:
		clear(l.cost64)
	case l.narrow:
		from, to := p.Cost, l.cost32[:len(l.input)]
		for a, i := range l.input {
			if i < 0 {
				l.setCost(int32(a), from[^i])
			} else {
				to[a] = int32(from[i])
			}
		}
	default:
		for a := range l.arcs {
			l.setCost(a, p.Cost[l.arcOf(a)])
		}
	}
}

func (l *layout) setCost(a int32, c int64) {
	if !l.grouped && l.full(a) {
		c = -c
	}
	if l.narrow {
		l.cost32[a] = int32(c)
	} else {
		l.cost64[a] = c
	}
}

// costOf returns the cost of arc a, which must not be full.
func (l *layout) costOf(a int32) int64 {
	if l.narrow {
		return int64(l.cost32[a])
	}
	return l.cost64[a]
}
