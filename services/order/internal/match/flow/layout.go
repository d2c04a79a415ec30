package flow

import "math"

// layout is the solver's own order of the arcs, chosen so that pricing is fast
// and each block of arcs a fair sample of the network. Self-loops are left
// out: their flow depends on nothing but their own cost.
//
// Two orders were measured. Where most arcs lead into nodes that only receive
// (or, turned around, out of nodes that only send), arcs are grouped by that
// node: its potential is fetched once per group, the other ends are few and
// stay in cache. Elsewhere arcs are mixed by a stride: a block of
// neighbouring arcs would see only one corner of the network and choose badly.
type layout struct {
	arcs     int32   // number of arcs kept
	fullArcs int     // number of full arcs
	input    []int32 // arc of the Problem
	tail     []int32 // its complement, which is negative, where the arc is full
	head     []int32 // only where grouped is false: a group's arcs share a head
	cost32   []int32 // costs, where all fit in 32 bits, else cost64
	cost64   []int64
	narrow   bool
	grouped  bool
	// reversed: every arc is turned around and every supply negated, so that
	// nodes which only send become nodes which only receive.
	reversed bool
	dense    bool // more than half of all sender-receiver pairs have an arc

	block           int // arcs priced before the best of them enters the basis
	groups          []group
	sends, receives []bool  // node has an arc out, in, self-loops aside, in solver direction
	count           []int32 // scratch: arcs per node
}

// group is a run of arcs with one head, cut so that none exceeds a block.
type group struct {
	head       int32
	start, end int32
}

// groupedShare is the share of arcs, in percent, that must end in nodes which
// only receive for the grouped order to be chosen.
const groupedShare = 75

// arrange chooses and builds the order for p.
func (l *layout) arrange(p *Problem) {
	in, out, kept := l.degrees(p)
	l.arcs, l.fullArcs = kept, 0
	l.choose(p, in, out)
	l.setBlock()
	l.input = resize(l.input, int(kept))
	l.tail = resize(l.tail, int(kept))
	if l.grouped {
		l.group(p, in, out)
	} else {
		l.mix(p)
	}
}

// degrees counts arcs into and out of each node, self-loops aside.
func (l *layout) degrees(p *Problem) (in, out []int32, kept int32) {
	n := p.Nodes()
	l.count = resize(l.count, 2*n)
	clear(l.count)
	in, out = l.count[:n], l.count[n:]
	for i, u := range p.From {
		if v := p.To[i]; u != v {
			out[u]++
			in[v]++
			kept++
		}
	}
	return in, out, kept
}

// choose decides between the orders and sets sends and dense.
func (l *layout) choose(p *Problem, in, out []int32) {
	var sinks, sources, intoSinks, outOfSources int64
	for u := range in {
		switch {
		case in[u] > 0 && out[u] == 0:
			sinks++
			intoSinks += int64(in[u])
		case out[u] > 0 && in[u] == 0:
			sources++
			outOfSources += int64(out[u])
		}
	}
	need := int64(l.arcs) * groupedShare
	l.reversed = outOfSources*100 >= need && (intoSinks*100 < need || sources > sinks)
	l.grouped = l.arcs > 0 && (l.reversed || intoSinks*100 >= need)
	l.dense = 2*int64(l.arcs) > sinks*sources
	if l.reversed {
		in, out = out, in
	}
	l.sends = resize(l.sends, p.Nodes())
	l.receives = resize(l.receives, p.Nodes())
	for u := range l.sends {
		l.sends[u], l.receives[u] = out[u] > 0, in[u] > 0
	}
}

// full says whether arc a is outside the tree and at capacity.
func (l *layout) full(a int32) bool { return l.tail[a] < 0 }

// flip moves an arc outside the tree from one of its bounds to the other.
func (l *layout) flip(a int32) {
	l.tail[a] = ^l.tail[a]
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

// tailOf returns the tail of arc a.
func (l *layout) tailOf(a int32) int32 {
	u := l.tail[a]
	if u < 0 {
		return ^u
	}
	return u
}

// ends returns tail and head of the Problem's arc i in solver direction.
func (l *layout) ends(p *Problem, i int32) (tail, head int32) {
	if l.reversed {
		return p.To[i], p.From[i]
	}
	return p.From[i], p.To[i]
}

// group sorts arcs by head, stably, in two passes, and cuts long groups.
func (l *layout) group(p *Problem, in, out []int32) {
	at := in
	tails, heads := p.From, p.To
	if l.reversed {
		at = out
		tails, heads = heads, tails
	}
	l.groups = l.groups[:0]
	var start int32
	for v, k := range at {
		at[v] = start
		for end := start + k; start < end; {
			cut := min(end, start+int32(l.block))
			l.groups = append(l.groups, group{int32(v), start, cut})
			start = cut
		}
	}
	for i, u := range tails {
		v := heads[i]
		if u == v {
			continue
		}
		a := at[v]
		at[v]++
		l.input[a] = int32(i)
		l.tail[a] = u
	}
}

// mix spreads neighbouring arcs a stride apart.
func (l *layout) mix(p *Problem) {
	l.head = resize(l.head, int(l.arcs))
	m := p.Arcs()
	stride := max(10, int(math.Sqrt(float64(m))))
	a := 0
	for first := 0; first < min(stride, m); first++ {
		for i := first; i < m; i += stride {
			if p.From[i] == p.To[i] {
				continue
			}
			l.input[a] = int32(i)
			l.tail[a], l.head[a] = l.ends(p, int32(i))
			a++
		}
	}
}

// loadCosts copies the costs, in 32 bits where they fit: half the memory to
// stream through the cache.
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
		for a, i := range l.input {
			l.cost32[a] = int32(p.Cost[i])
		}
	default:
		for a, i := range l.input {
			l.cost64[a] = p.Cost[i]
		}
	}
}

func (l *layout) setCost(a int32, c int64) {
	if l.narrow {
		l.cost32[a] = int32(c)
	} else {
		l.cost64[a] = c
	}
}

func (l *layout) costOf(a int32) int64 {
	if l.narrow {
		return int64(l.cost32[a])
	}
	return l.cost64[a]
}

// smallestBlock spares small networks blocks too short to choose well from;
// measured best of 10 to 96.
const smallestBlock = 64

// setBlock sets the block to the square root of the number of arcs (block search;
// Grigoriadis, "An efficient implementation of the network simplex method",
// Mathematical Programming Study 26, 1986), to half of it where the start is
// greedy and few arcs are left to gain from.
func (l *layout) setBlock() {
	l.block = int(math.Sqrt(float64(l.arcs)))
	if l.greedy() {
		l.block /= 2
	}
	l.block = max(l.block, smallestBlock)
}

// greedy says whether the greedy start pays, see start.
func (l *layout) greedy() bool { return l.grouped && !l.dense }
