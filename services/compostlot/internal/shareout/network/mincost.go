package network

import "fmt"

// MinCost is a network with supplies at nodes, and arcs with capacity and
// cost per unit, for which a cheapest flow is sought with the network simplex
// method (Ahuja, Magnanti, Orlin, Network Flows, 1993, chapter 11, from
// memory). Strongly feasible trees keep it from cycling.
type MinCost struct {
	supply     []int64
	from, to   []int32
	capacity   []int64
	cost       []int64
	flow       []int64
	state      []int8 // of each arc: atLower, inTree, atUpper
	parent     []int32
	link       []int32 // arc between a node and its parent
	depth      []int32
	price      []int64
	child      []int32 // first child of each node
	next, prev []int32 // neighbours in the parent's list of children
	stack      []int32
	arcs       int // arcs of the caller; the artificial ones follow
	scan       int // where the next search for an entering arc starts
}

const (
	atLower int8 = 1
	inTree  int8 = 0
	atUpper int8 = -1
	none         = int32(-1)
)

// InfeasibleError says that the supplies cannot reach the demands within the
// capacities.
type InfeasibleError struct {
	Stranded int64 // units for which there is no way
}

func (e *InfeasibleError) Error() string {
	return fmt.Sprintf("%d units of supply cannot reach a demand: raise a capacity or lower the supply", e.Stranded)
}

// NewMinCost makes a network of nodes 0..nodes-1 without arcs.
func NewMinCost(nodes int) *MinCost {
	return &MinCost{supply: make([]int64, nodes)}
}

// Supply adds to what a node brings in; a negative amount is a demand. All
// supplies together must come to zero.
func (g *MinCost) Supply(node int, amount int64) { g.supply[node] += amount }

// Arc adds an arc and returns its number for Flow.
func (g *MinCost) Arc(from, to int, capacity, cost int64) int {
	g.from = append(g.from, int32(from))
	g.to = append(g.to, int32(to))
	g.capacity = append(g.capacity, capacity)
	g.cost = append(g.cost, cost)
	return len(g.from) - 1
}

// Flow is what an arc carries after Solve.
func (g *MinCost) Flow(arc int) int64 { return g.flow[arc] }

// Solve finds a cheapest flow and returns its cost. It returns an
// *InfeasibleError where supplies cannot reach demands.
func (g *MinCost) Solve() (int64, error) {
	g.start()
	for {
		entering := g.entering()
		if entering < 0 {
			break
		}
		g.pivot(entering)
	}
	var stranded, total int64
	for a := g.arcs; a < len(g.flow); a++ {
		stranded += g.flow[a]
	}
	if stranded > 0 {
		return 0, &InfeasibleError{Stranded: stranded / 2}
	}
	for a := range g.arcs {
		total += g.flow[a] * g.cost[a]
	}
	return total, nil
}

// Optimal proves the last Solve by its reduced costs: an arc with room must
// not be worth using more, an arc in use must not be worth using less.
func (g *MinCost) Optimal() bool {
	for a := range g.arcs {
		r := g.reduced(a)
		if r < 0 && g.flow[a] < g.capacity[a] || r > 0 && g.flow[a] > 0 {
			return false
		}
	}
	return true
}

// start hangs every node on an extra root by an artificial arc so dear that
// no cheapest flow uses it where it can do without.
func (g *MinCost) start() {
	n := len(g.supply)
	root := int32(n)
	g.arcs = len(g.from)
	dear := int64(1)
	for _, c := range g.cost {
		dear = max(dear, c, -c)
	}
	dear *= int64(n + 1)
	g.flow = make([]int64, g.arcs+n)
	g.state = make([]int8, g.arcs+n)
	for a := range g.arcs {
		g.state[a] = atLower
	}
	g.parent, g.link = make([]int32, n+1), make([]int32, n+1)
	g.depth, g.price = make([]int32, n+1), make([]int64, n+1)
	g.child, g.next, g.prev = make([]int32, n+1), make([]int32, n+1), make([]int32, n+1)
	for v := range g.child {
		g.child[v], g.next[v], g.prev[v] = none, none, none
	}
	g.parent[root], g.link[root] = none, none
	for v := range n {
		a := int32(g.Arc(v, n, Unlimited*4, dear))
		g.flow[a], g.price[v] = g.supply[v], -dear
		if g.supply[v] < 0 {
			g.from[a], g.to[a] = root, int32(v)
			g.flow[a], g.price[v] = -g.supply[v], dear
		}
		g.parent[v], g.link[v], g.depth[v] = root, a, 1
		g.adopt(root, int32(v))
	}
}

// reduced is the cost of an arc after the prices of its ends.
func (g *MinCost) reduced(a int) int64 {
	return g.cost[a] + g.price[g.from[a]] - g.price[g.to[a]]
}

// entering looks for an arc worth changing: the best of a block of arcs, the
// blocks taken in turn. It returns -1 when no arc is.
func (g *MinCost) entering() int {
	const block = 256
	best, worth := -1, int64(0)
	for seen, inBlock := 0, 0; seen < g.arcs; seen++ {
		a := g.scan
		if g.scan++; g.scan == g.arcs {
			g.scan = 0
		}
		if w := -int64(g.state[a]) * g.reduced(a); w > worth {
			best, worth = a, w
		}
		if inBlock++; inBlock == block {
			if best >= 0 {
				return best
			}
			inBlock = 0
		}
	}
	return best
}

// pivot sends as much as fits round the circle that the entering arc closes
// with the tree, and lets the arc that stopped it leave the tree.
func (g *MinCost) pivot(in int) {
	first, second := g.from[in], g.to[in]
	if g.state[in] == atUpper {
		first, second = second, first
	}
	join := g.join(first, second)
	amount, out, outOnFirst := g.capacity[in], none, false
	if g.state[in] == atUpper {
		amount = g.flow[in]
	}
	for u := first; u != join; u = g.parent[u] {
		if room := g.roomDown(u); room < amount {
			amount, out, outOnFirst = room, u, true
		}
	}
	for u := second; u != join; u = g.parent[u] {
		if room := g.roomUp(u); room <= amount {
			amount, out, outOnFirst = room, u, false
		}
	}
	g.send(in, first, second, join, amount)
	if out == none {
		g.state[in] = -g.state[in]
		return
	}
	leaving := g.link[out]
	g.state[leaving] = atLower
	if g.flow[leaving] > 0 {
		g.state[leaving] = atUpper
	}
	g.state[in] = inTree
	under, over := second, first
	if outOnFirst {
		under, over = first, second
	}
	g.rehang(under, over, out, int32(in))
}

// join is the lowest node above both.
func (g *MinCost) join(u, v int32) int32 {
	for u != v {
		if g.depth[u] >= g.depth[v] {
			u = g.parent[u]
		} else {
			v = g.parent[v]
		}
	}
	return u
}

// roomDown is how much more can flow from the parent of u to u.
func (g *MinCost) roomDown(u int32) int64 {
	a := g.link[u]
	if g.to[a] == u {
		return g.capacity[a] - g.flow[a]
	}
	return g.flow[a]
}

// roomUp is how much more can flow from u to its parent.
func (g *MinCost) roomUp(u int32) int64 {
	a := g.link[u]
	if g.from[a] == u {
		return g.capacity[a] - g.flow[a]
	}
	return g.flow[a]
}

func (g *MinCost) send(in int, first, second, join int32, amount int64) {
	if amount == 0 {
		return
	}
	g.flow[in] += int64(g.state[in]) * amount
	for u := first; u != join; u = g.parent[u] {
		if a := g.link[u]; g.to[a] == u {
			g.flow[a] += amount
		} else {
			g.flow[a] -= amount
		}
	}
	for u := second; u != join; u = g.parent[u] {
		if a := g.link[u]; g.from[a] == u {
			g.flow[a] += amount
		} else {
			g.flow[a] -= amount
		}
	}
}

// rehang cuts the subtree of cut off, turns it so that under is its top, and
// hangs it by arc in on over; depths and prices below follow.
func (g *MinCost) rehang(under, over, cut, in int32) {
	node, newParent, newLink := under, over, in
	for {
		oldParent, oldLink := g.parent[node], g.link[node]
		g.disown(oldParent, node)
		g.parent[node], g.link[node] = newParent, newLink
		g.adopt(newParent, node)
		if node == cut {
			break
		}
		newParent, newLink, node = node, oldLink, oldParent
	}
	g.stack = append(g.stack[:0], under)
	for len(g.stack) > 0 {
		v := g.stack[len(g.stack)-1]
		g.stack = g.stack[:len(g.stack)-1]
		a, p := g.link[v], g.parent[v]
		g.depth[v] = g.depth[p] + 1
		if g.to[a] == v {
			g.price[v] = g.price[p] + g.cost[a]
		} else {
			g.price[v] = g.price[p] - g.cost[a]
		}
		for c := g.child[v]; c != none; c = g.next[c] {
			g.stack = append(g.stack, c)
		}
	}
}

func (g *MinCost) adopt(parent, v int32) {
	g.prev[v], g.next[v] = none, g.child[parent]
	if g.next[v] != none {
		g.prev[g.next[v]] = v
	}
	g.child[parent] = v
}

func (g *MinCost) disown(parent, v int32) {
	if g.prev[v] != none {
		g.next[g.prev[v]] = g.next[v]
	} else {
		g.child[parent] = g.next[v]
	}
	if g.next[v] != none {
		g.prev[g.next[v]] = g.prev[v]
	}
}
