package flow

import "math"

// Three orders of the arcs were measured.
//
// Where most arcs lead into nodes that only receive (or, turned around, out of
// nodes that only send), and each of these has many, arcs are grouped by that
// node: its potential is fetched once per group, the other ends are few and
// stay in cache. Where each has few, that costs more than it saves: then arcs
// only stand by head if the greedy start wants them so.
//
// Elsewhere arcs are mixed by a stride: a block of neighbouring arcs would see
// only one corner of the network and choose badly.
const (
	// groupedShare is the share of arcs, in percent, that must end in nodes
	// which only receive; these must be one in groupedNodeShare nodes. If as
	// many come from nodes which only send, the network is one of senders and
	// receivers.
	groupedShare, groupedNodeShare = 75, 3
	// groupedArcs is the least number of arcs for each such node, or
	// groupedFewArcs where there are groupedNodes of them to each other node.
	groupedArcs, groupedFewArcs, groupedNodes = 24, 6, 4
	// fewArcs is the number of arcs below which a network of senders and
	// receivers has a greedy start without further ado, and artificial arcs cost
	// as much as the dearest arc at once: another round costs more there than it
	// saves.
	fewArcs = 2000
	// contestedShare is the share of receivers, in percent, below which a
	// network is contested.
	contestedShare = 30
)

// arrange chooses and builds the order for p.
func (s *Solver) arrange(p *Problem) {
	l := &s.layout
	in, out := l.degrees(p)
	l.fullArcs = 0
	bipartite := l.choose(p, in, out)
	l.greedy = bipartite && (l.arcs < fewArcs || s.contested(p))
	l.setBlock()
	l.input = resize(l.input, int(l.arcs))
	l.tail = resize(l.tail, int(l.arcs))
	if !l.grouped {
		l.head = resize(l.head, int(l.arcs))
	}
	if l.grouped || l.greedy {
		l.group(p, in, out)
	} else {
		l.mix(p)
	}
}

// degrees counts the arcs, and those into and out of each node, self-loops
// aside.
func (l *layout) degrees(p *Problem) (in, out []int32) {
	n := p.Nodes()
	l.count = resize(l.count, 2*n)
	clear(l.count)
	in, out = l.count[:n], l.count[n:]
	l.arcs = 0
	for i, u := range p.From {
		if v := p.To[i]; u != v {
			out[u]++
			in[v]++
			l.arcs++
		}
	}
	return in, out
}

// choose sets grouped, reversed, sends and receives and says whether the
// network is one of senders and receivers.
func (l *layout) choose(p *Problem, in, out []int32) bool {
	l.sends = resize(l.sends, p.Nodes())
	l.receives = resize(l.receives, p.Nodes())
	var sinks, sources, intoSinks, outOfSources int64
	for u := range in {
		sends, receives := out[u] > 0, in[u] > 0
		l.sends[u], l.receives[u] = sends, receives
		switch {
		case sends == receives:
		case receives:
			sinks++
			intoSinks += int64(in[u])
		default:
			sources++
			outOfSources += int64(out[u])
		}
	}
	need := int64(l.arcs) * groupedShare
	l.reversed = outOfSources*100 >= need && (intoSinks*100 < need || sources > sinks)
	if l.reversed {
		sinks, intoSinks, outOfSources = sources, outOfSources, intoSinks
		l.sends, l.receives = l.receives, l.sends
	}
	least := int64(groupedArcs)
	if sinks >= groupedNodes*(int64(p.Nodes())-sinks) {
		least = groupedFewArcs
	}
	mostly := l.arcs > 0 && intoSinks*100 >= need && sinks*groupedNodeShare >= int64(p.Nodes())
	l.grouped = mostly && int64(l.arcs) >= sinks*least
	return mostly && outOfSources*100 >= need
}

// contested says whether the cheapest sender of one receiver is that of many:
// if each receiver went to its cheapest sender, only few would be served.
func (s *Solver) contested(p *Problem) bool {
	n := p.Nodes()
	cheapest, left := resize(s.order, n), s.value[:n] // scratch
	s.order = cheapest
	for u, b := range p.Supply {
		cheapest[u], left[u] = none, b
		if s.reversed {
			left[u] = -b
		}
	}
	tails, heads := p.From, p.To
	if s.reversed {
		tails, heads = heads, tails
	}
	for i, v := range heads {
		if left[v] < 0 && tails[i] != v && (cheapest[v] == none || p.Cost[i] < p.Cost[cheapest[v]]) {
			cheapest[v] = int32(i)
		}
	}
	receivers, served := 0, 0
	for v, i := range cheapest {
		if i == none {
			continue
		}
		receivers++
		if u := tails[i]; left[u] >= -left[v] {
			left[u] += left[v]
			served++
		}
	}
	return 100*served < contestedShare*receivers
}

// setBlock sets the block to the square root of the number of arcs (block search;
// Grigoriadis, "An efficient implementation of the network simplex method",
// Mathematical Programming Study 26, 1986), to half of it after a greedy start,
// when few arcs are left to gain from.
func (l *layout) setBlock() {
	l.block = int(math.Sqrt(float64(l.arcs)))
	if l.greedy {
		l.block /= 2
	}
	l.block = max(l.block, smallestBlock)
}

// smallestBlock spares small networks blocks too short to choose well from;
// measured best of 8 to 64.
const smallestBlock = 32

// group sorts arcs by head, stably, in two passes, and cuts long groups. Of in,
// or of out where the network is reversed, it leaves for each node where its
// arcs end.
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
		if l.grouped {
			l.cut(int32(v), start, start+k)
		}
		start += k
	}
	input, tail := l.input, l.tail[:len(l.input)]
	heads = heads[:len(tails)]
	for i, u := range tails {
		v := heads[i]
		if u == v {
			continue
		}
		a := at[v]
		at[v] = a + 1
		input[a], tail[a] = int32(i), u
		if !l.grouped {
			l.head[a] = v
		}
	}
}

// cut makes groups of the arcs start..end-1, all into v.
func (l *layout) cut(v, start, end int32) {
	for start < end {
		next := min(end, start+int32(l.block))
		l.groups = append(l.groups, group{v, start, next})
		start = next
	}
}

// mix spreads neighbouring arcs a stride apart.
func (l *layout) mix(p *Problem) {
	m := p.Arcs()
	tails, heads := p.From, p.To
	if l.reversed {
		tails, heads = heads, tails
	}
	stride := max(10, int(math.Sqrt(float64(m))))
	input, tail, head := l.input, l.tail[:len(l.input)], l.head[:len(l.input)]
	heads = heads[:m]
	a := 0
	for first := 0; first < min(stride, m); first++ {
		for i := first; i < m; i += stride {
			if u, v := tails[i], heads[i]; u != v {
				input[a], tail[a], head[a] = int32(i), u, v
				a++
			}
		}
	}
}
