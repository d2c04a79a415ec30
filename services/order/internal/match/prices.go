package match

import (
	"container/heap"
	"slices"
)

// prices has what one pack more, or fewer, would change, in value met.
//
// The least-cost path on which a pack more could flow from a node to SURPLUS, in the network of
// what could still change, is exactly what it would be worth; and from SURPLUS to the node, what
// a pack fewer would cost. Where the flow is degenerate the two differ, and both are given. The
// potentials of the first phase make all lengths non-negative, so that Dijkstra's algorithm
// finds the paths to all nodes at once.
type prices struct {
	// more and fewer are by node, in minor units; known says which a path reaches.
	more, fewer []int64
	known       [2][]bool
	// leads is the want that a pack more at the node would end with, or -1.
	leads []int32
}

// residual is an arc on which a pack could still flow.
type residual struct {
	to    int32
	arc   int32
	cost  int64 // reduced
	money int64
}

func (s solution) prices() prices {
	n := len(s.net.supply)
	pr := prices{}
	to := s.paths(n, true)
	pr.more, pr.known[0], pr.leads = to.money, to.known, s.lead(to)
	from := s.paths(n, false)
	pr.fewer, pr.known[1] = from.money, from.known
	return pr
}

// paths are the best ways between SURPLUS and each node that one reaches: how far it is, in
// reduced cost, and in money. out[start[u]:start[u+1]] are the arcs that may lead to u.
type paths struct {
	start       []int32
	out         []residual
	dist, money []int64
	known       []bool
}

// paths finds the best paths to SURPLUS from everywhere, or from SURPLUS to everywhere.
func (s solution) paths(n int, toSurplus bool) paths {
	start, out := s.residuals(n, toSurplus)
	money, known := make([]int64, n), make([]bool, n)
	dist := make([]int64, n)
	for i := range dist {
		dist[i] = -1
	}
	at := s.net.surplus
	dist[at] = 0
	queue := &nodeHeap{{0, at}}
	for queue.Len() > 0 {
		next := heap.Pop(queue).(reached)
		if known[next.node] {
			continue
		}
		known[next.node] = true
		for _, r := range out[start[next.node]:start[next.node+1]] {
			if far := next.dist + r.cost; !known[r.to] && (dist[r.to] < 0 || far < dist[r.to]) {
				dist[r.to], money[r.to] = far, money[next.node]+r.money
				heap.Push(queue, reached{far, r.to})
			}
		}
	}
	return paths{start, out, dist, money, known}
}

// lead finds for each node the want that a pack more there would end with. Where several would do
// equally well for the first aims, it is the one that is next in its share.
func (s solution) lead(p paths) []int32 {
	leads := make([]int32, len(p.known))
	for i := range leads {
		leads[i] = -1
	}
	for _, sh := range s.inNeed() {
		last := s.net.to[sh.arc]
		if !p.known[last] || leads[last] >= 0 || p.dist[last] != p.dist[s.net.short]+s.reduced(sh.arc) {
			continue
		}
		want := s.net.want[sh.arc]
		leads[last] = want
		for queue := []int32{last}; len(queue) > 0; {
			u := queue[0]
			queue = queue[1:]
			for _, r := range p.out[p.start[u]:p.start[u+1]] {
				if r.to != s.net.short && p.known[r.to] && leads[r.to] < 0 && p.dist[r.to] == p.dist[u]+r.cost {
					leads[r.to] = want
					queue = append(queue, r.to)
				}
			}
		}
	}
	return leads
}

// reduced is the reduced cost of an arc walked backwards.
func (s solution) reduced(a int32) int64 {
	return s.potential[s.net.to[a]] - s.potential[s.net.from[a]] - s.cost[a]
}

// inNeed are the shares that are short, the first to get a pack first.
func (s solution) inNeed() []*share {
	var short []*share
	for i := range s.net.customers {
		if sh := &s.net.customers[i]; s.flow[sh.arc] > 0 {
			short = append(short, sh)
		}
	}
	next := func(sh *share) slant {
		x := slant{sh.class, 0, 1}
		if !s.net.inTurn {
			x.slope, x.weight = 2*(sh.packs+sh.had-s.flow[sh.arc])+1, sh.weight
		}
		return x
	}
	slices.SortStableFunc(short, func(a, b *share) int { return steeper(next(b), next(a)) })
	return short
}

// residuals lists for each node the arcs by which a pack could come to it (toSurplus: walked
// backwards from SURPLUS) or go from it.
func (s solution) residuals(n int, toSurplus bool) (start []int32, out []residual) {
	net := s.net
	start = make([]int32, n+2)
	each := func(take func(node int32, r residual)) {
		for a := range net.from {
			from, to := net.from[a], net.to[a]
			reduced := s.cost[a] + s.potential[from] - s.potential[to]
			money := s.moneyOf(a)
			if s.flow[a] < s.cap[a] {
				if toSurplus {
					take(to, residual{from, int32(a), reduced, money})
				} else {
					take(from, residual{to, int32(a), reduced, money})
				}
			}
			if s.flow[a] > 0 {
				if toSurplus {
					take(from, residual{to, int32(a), -reduced, -money})
				} else {
					take(to, residual{from, int32(a), -reduced, -money})
				}
			}
		}
	}
	each(func(node int32, _ residual) { start[node+2]++ })
	for i := 2; i < len(start); i++ {
		start[i] += start[i-1]
	}
	out = make([]residual, start[n+1])
	each(func(node int32, r residual) {
		out[start[node+1]] = r
		start[node+1]++
	})
	return start, out
}

// moneyOf is what a pack on the arc takes off the value met.
func (s solution) moneyOf(a int) int64 {
	n := s.net
	switch {
	case n.kind[a] == unmet:
		return worth(n.wants[n.want[a]].Line)
	case n.exact && n.demandOf[a] >= 0 && n.kind[a] != serves:
		minor, _ := n.demands[n.demandOf[a]].reluctance(n.productAt(a))
		return minor
	}
	return 0
}

// reached is a node and how far it is.
type reached struct {
	dist int64
	node int32
}

type nodeHeap []reached

func (h nodeHeap) Len() int { return len(h) }
func (h nodeHeap) Less(i, j int) bool {
	if h[i].dist != h[j].dist {
		return h[i].dist < h[j].dist
	}
	return h[i].node < h[j].node
}
func (h nodeHeap) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h *nodeHeap) Push(x any)   { *h = append(*h, x.(reached)) }
func (h *nodeHeap) Pop() any {
	old := *h
	last := old[len(old)-1]
	*h = old[:len(old)-1]
	return last
}

// ofProduct is what a pack more of each product would be worth, and one fewer cost.
func (s solution) ofProduct() map[string]Price {
	pr, all := s.prices(), make(map[string]Price)
	for i, l := range s.net.lots {
		p := all[l.Product]
		if i >= s.net.real {
			if p.More = 0; pr.known[0][i] {
				p.More = max(0, -pr.more[i])
			}
			if j := pr.leads[i]; j >= 0 && p.More > 0 {
				w := s.net.wants[j]
				p.Order, p.Customer, p.For = w.Order, w.Customer, w.Product
			}
		} else if pr.known[1][i] && (!p.Has || pr.fewer[i] < p.Fewer) {
			p.Fewer, p.Has = pr.fewer[i], true
		}
		all[l.Product] = p
	}
	return all
}
