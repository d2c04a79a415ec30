package match

// tighten settles the arcs on which no flow as good as the last can differ. Two such flows differ
// by cycles of arcs that are open and on which a pack can still flow, one way or the other; so an
// arc from which no such way leads back has no choice. The ways back are within the strongly
// connected components of what is left of the network (Tarjan, Depth-first search and linear graph
// algorithms, SIAM Journal on Computing 1, 1972).
func (s *search) tighten() {
	r, room := s.rest, s.problem.Cap
	var open []int32 // places of the arcs
	for i, a := range r.arcs {
		if room[a] > 0 && r.isFirst(i) {
			open = append(open, int32(i))
		}
	}
	if len(open) == 0 {
		return
	}
	c := newComponents(len(r.nodes))
	for _, i := range open {
		c.count(r.problem.From[i], r.problem.To[i], s.last[r.arcs[i]] < room[r.arcs[i]], s.last[r.arcs[i]] > 0)
	}
	c.begin()
	for _, i := range open {
		c.add(r.problem.From[i], r.problem.To[i], s.last[r.arcs[i]] < room[r.arcs[i]], s.last[r.arcs[i]] > 0)
	}
	c.find()
	for _, i := range open {
		if c.of[r.problem.From[i]] != c.of[r.problem.To[i]] {
			a := r.arcs[i]
			s.fix(a, s.last[a], room[a])
		}
	}
}

// components finds the strongly connected components of a directed graph.
type components struct {
	start, to []int32 // the arcs out of node u lead to to[start[u]:start[u+1]]
	of        []int32 // by node, its component
	seen, low []int32
	stack     []int32
	calls     []int32 // nodes being walked, and next by node, where the walk goes on
	next      []int32
}

func newComponents(nodes int) *components {
	return &components{start: make([]int32, nodes+2), of: make([]int32, nodes)}
}

// count makes room for an arc in either direction.
func (c *components) count(from, to int32, forth, back bool) {
	if forth {
		c.start[from+2]++
	}
	if back {
		c.start[to+2]++
	}
}

func (c *components) begin() {
	for u := 2; u < len(c.start); u++ {
		c.start[u] += c.start[u-1]
	}
	c.to = make([]int32, c.start[len(c.start)-1])
}

// add adds an arc that was counted.
func (c *components) add(from, to int32, forth, back bool) {
	if forth {
		c.to[c.start[from+1]] = to
		c.start[from+1]++
	}
	if back {
		c.to[c.start[to+1]] = from
		c.start[to+1]++
	}
}

// find numbers the components from 1.
func (c *components) find() {
	n := len(c.of)
	c.seen, c.low, c.next = make([]int32, n), make([]int32, n), make([]int32, n)
	order, found := int32(0), int32(0)
	for root := range int32(n) {
		if c.seen[root] > 0 {
			continue
		}
		c.enter(root, &order)
		for len(c.calls) > 0 {
			u := c.calls[len(c.calls)-1]
			if c.next[u] < c.start[u+1] {
				v := c.to[c.next[u]]
				c.next[u]++
				switch {
				case c.seen[v] == 0:
					c.enter(v, &order)
				case c.of[v] == 0:
					c.low[u] = min(c.low[u], c.seen[v])
				}
				continue
			}
			c.calls = c.calls[:len(c.calls)-1]
			if len(c.calls) > 0 {
				above := c.calls[len(c.calls)-1]
				c.low[above] = min(c.low[above], c.low[u])
			}
			if c.low[u] == c.seen[u] {
				found++
				c.take(u, found)
			}
		}
	}
}

// enter begins the walk at a node.
func (c *components) enter(u int32, order *int32) {
	*order++
	c.seen[u], c.low[u], c.next[u] = *order, *order, c.start[u]
	c.stack, c.calls = append(c.stack, u), append(c.calls, u)
}

// take gives the nodes down to u on the stack their component.
func (c *components) take(u, found int32) {
	for {
		v := c.stack[len(c.stack)-1]
		c.stack = c.stack[:len(c.stack)-1]
		c.of[v] = found
		if v == u {
			return
		}
	}
}
