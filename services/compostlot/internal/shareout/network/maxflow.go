package network

import "math"

// Unlimited is the capacity of an arc that never binds. It leaves room for
// sums of a few such capacities within an int64.
const Unlimited = math.MaxInt64 / 8

// MaxFlow is a directed network from node Source to node Sink in which a
// largest flow is sought by blocking flows on layered networks (E. A. Dinic,
// Soviet Math. Doklady 11, 1970). Capacities may be raised after a solve; the
// next solve continues from the flow already there.
type MaxFlow struct {
	head  []int32 // first half-arc of each node, -1 for none
	next  []int32 // next half-arc of the same node
	to    []int32
	room  []int64 // residual capacity; half-arc i and i^1 are a pair
	layer []int32
	at    []int32
	queue []int32

	Source, Sink int
}

// NewMaxFlow makes a network of nodes 0..nodes-1 without arcs.
func NewMaxFlow(nodes, source, sink int) *MaxFlow {
	g := &MaxFlow{
		head: make([]int32, nodes), layer: make([]int32, nodes), at: make([]int32, nodes),
		queue: make([]int32, 0, nodes), Source: source, Sink: sink,
	}
	for i := range g.head {
		g.head[i] = -1
	}
	return g
}

// Arc adds an arc with the given capacity (0 or more) and returns its number
// for Flow and Raise.
func (g *MaxFlow) Arc(from, to int, capacity int64) int {
	id := len(g.to)
	g.to = append(g.to, int32(to), int32(from))
	g.room = append(g.room, capacity, 0)
	g.next = append(g.next, g.head[from], g.head[to])
	g.head[from], g.head[to] = int32(id), int32(id+1)
	return id
}

// Flow is what an arc carries.
func (g *MaxFlow) Flow(arc int) int64 { return g.room[arc+1] }

// Raise adds to the capacity of an arc; with a negative amount it takes back
// capacity that is not in use.
func (g *MaxFlow) Raise(arc int, by int64) { g.room[arc] += by }

// Solve sends as much more as fits and returns how much more that was.
func (g *MaxFlow) Solve() int64 {
	var total int64
	for g.layers() {
		copy(g.at, g.head)
		for {
			sent := g.push(g.Source, Unlimited*4)
			if sent == 0 {
				break
			}
			total += sent
		}
	}
	return total
}

// layers numbers the nodes by distance from the source in the residual
// network and says whether the sink was reached.
func (g *MaxFlow) layers() bool {
	for i := range g.layer {
		g.layer[i] = -1
	}
	g.layer[g.Source] = 0
	g.queue = append(g.queue[:0], int32(g.Source))
	for i := 0; i < len(g.queue); i++ {
		v := g.queue[i]
		for a := g.head[v]; a >= 0; a = g.next[a] {
			if w := g.to[a]; g.room[a] > 0 && g.layer[w] < 0 {
				g.layer[w] = g.layer[v] + 1
				g.queue = append(g.queue, w)
			}
		}
	}
	return g.layer[g.Sink] >= 0
}

// push sends up to limit from v towards the sink along layered arcs.
func (g *MaxFlow) push(v int, limit int64) int64 {
	if v == g.Sink {
		return limit
	}
	var sent int64
	for ; g.at[v] >= 0; g.at[v] = g.next[g.at[v]] {
		a := g.at[v]
		w := int(g.to[a])
		if g.room[a] == 0 || g.layer[w] != g.layer[v]+1 {
			continue
		}
		part := g.push(w, min(limit-sent, g.room[a]))
		g.room[a] -= part
		g.room[a^1] += part
		sent += part
		if sent == limit {
			return sent // the arc may still have room: keep it current
		}
	}
	return sent
}

// SourceSide marks the nodes that the source still reaches after Solve: the
// source side of a smallest cut, and of all such sides the smallest.
func (g *MaxFlow) SourceSide() []bool {
	g.layers()
	side := make([]bool, len(g.layer))
	for i, l := range g.layer {
		side[i] = l >= 0
	}
	return side
}
