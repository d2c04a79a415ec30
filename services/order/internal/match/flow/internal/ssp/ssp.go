// Package ssp is a second minimum-cost-flow solver, slow and simple, that
// shares no method or code with package flow. Tests compare the two.
//
// It sends flow along shortest paths of the residual network, found by
// Bellman and Ford's method, from nodes with too much to nodes with too little
// (Ahuja, Magnanti and Orlin, Network Flows, 1993, section 9.7). Arcs of
// negative cost start full, so that no residual arc does.
package ssp

// Problem has the meaning of flow.Problem, with every capacity finite.
type Problem struct {
	Supply         []int64
	From, To       []int32
	Low, Cap, Cost []int64
}

type edge struct {
	to         int32
	room, cost int64
	back       int // index of the opposite edge
}

type network struct {
	edges  []edge
	out    [][]int // edges out of each node
	excess []int64
}

// Solve returns the least cost, and false if there is no flow at all.
func Solve(p Problem) (cost int64, feasible bool) {
	g := build(p)
	for i, c := range p.Cost {
		x := p.Low[i]
		if c < 0 {
			x = p.Cap[i]
		}
		cost += x * c
	}
	for {
		path, length := g.shortestPath()
		if path == nil {
			break
		}
		cost += g.augment(path) * length
	}
	for _, b := range g.excess {
		if b != 0 {
			return 0, false
		}
	}
	return cost, true
}

func build(p Problem) *network {
	g := &network{out: make([][]int, len(p.Supply)), excess: append([]int64(nil), p.Supply...)}
	for i, u := range p.From {
		v, room := p.To[i], p.Cap[i]-p.Low[i]
		x, used := p.Low[i], int64(0)
		if p.Cost[i] < 0 {
			x, used = p.Cap[i], room
		}
		g.excess[u] -= x
		g.excess[v] += x
		k := len(g.edges)
		g.edges = append(g.edges,
			edge{v, room - used, p.Cost[i], k + 1},
			edge{u, used, -p.Cost[i], k})
		g.out[u] = append(g.out[u], k)
		g.out[v] = append(g.out[v], k+1)
	}
	return g
}

// shortestPath returns the edges, last first, of a shortest residual path from
// any node with too much to any with too little, and its length.
func (g *network) shortestPath() ([]int, int64) {
	n := len(g.excess)
	dist := make([]int64, n)
	via := make([]int, n)
	known := make([]bool, n)
	var queue []int32
	for u, b := range g.excess {
		via[u] = -1
		if b > 0 {
			known[u] = true
			queue = append(queue, int32(u))
		}
	}
	for len(queue) > 0 {
		u := queue[0]
		queue = queue[1:]
		for _, k := range g.out[u] {
			e := g.edges[k]
			if d := dist[u] + e.cost; e.room > 0 && (!known[e.to] || d < dist[e.to]) {
				known[e.to], dist[e.to], via[e.to] = true, d, k
				queue = append(queue, e.to)
			}
		}
	}
	end := -1
	for v, b := range g.excess {
		if b < 0 && known[v] && (end < 0 || dist[v] < dist[end]) {
			end = v
		}
	}
	if end < 0 {
		return nil, 0
	}
	path := []int{}
	for v := end; via[v] >= 0; v = int(g.edges[g.edges[via[v]].back].to) {
		path = append(path, via[v])
	}
	return path, dist[end]
}

// augment sends as much as the path allows and returns how much that was.
func (g *network) augment(path []int) int64 {
	end := g.edges[path[0]].to
	start := g.edges[g.edges[path[len(path)-1]].back].to
	x := min(g.excess[start], -g.excess[end])
	for _, k := range path {
		x = min(x, g.edges[k].room)
	}
	for _, k := range path {
		g.edges[k].room -= x
		g.edges[g.edges[k].back].room += x
	}
	g.excess[start] -= x
	g.excess[end] += x
	return x
}
