package fillplan

import (
	"cmp"
	"container/heap"
	"math"
	"slices"
)

// tree is a best-first branch and bound. Its bound is the least of its open
// nodes and the one at hand, so it may stop at any time.
type tree struct {
	x *relaxation
	a *ascent
	m *master
	// open are the nodes to branch on; current is the one being branched on.
	open    nodeHeap
	current *node
	// cutoff is the least cost known, in millicents: plans that do not beat it
	// need not be looked at.
	cutoff func() int64
	// offer takes the timelines of a plan met on the way.
	offer func([][]choice)
	// areas are the distinct areas of rooms, ascending.
	areas []int64
	// branched counts the nodes branched on, rootCuts the cuts there were before.
	branched, rootCuts int
}

type nodeHeap []*node

func (h nodeHeap) Len() int           { return len(h) }
func (h nodeHeap) Less(i, j int) bool { return h[i].bound < h[j].bound }
func (h nodeHeap) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *nodeHeap) Push(v any)        { *h = append(*h, v.(*node)) }
func (h *nodeHeap) Pop() any {
	last := len(*h) - 1
	n := (*h)[last]
	*h = (*h)[:last]
	return n
}

const (
	// probeSolves are the relaxations solved to compare branches.
	probeSolves = 20
	// visitRounds are the rounds of column generation in a node.
	visitRounds = 25
	// cutEvery is how many nodes are branched on for each that is cut first, and
	// cutsOfNode and cutsInTree limit the cuts of one and of all.
	cutEvery   = 4
	cutsOfNode = 20
	cutsInTree = 120
	// leastPart is how far from whole a count must be to branch on it.
	leastPart = 0.05
)

func newTree(m *master, a *ascent, root *node, cutoff func() int64, offer func([][]choice)) *tree {
	x := m.x
	t := &tree{x: x, a: a, m: m, open: nodeHeap{root}, cutoff: cutoff, offer: offer, rootCuts: len(x.cuts)}
	for _, r := range x.p.in.Rooms {
		t.areas = append(t.areas, r.Area)
	}
	slices.Sort(t.areas)
	t.areas = slices.Compact(t.areas)
	return t
}

// bound is a lower bound on every plan that costs less than the cutoff;
// math.MaxInt64 when there is none.
func (t *tree) bound() int64 {
	bound := int64(math.MaxInt64)
	if t.current != nil {
		bound = t.current.bound
	}
	if len(t.open) > 0 {
		bound = min(bound, t.open[0].bound)
	}
	return bound
}

// step branches on the open node of least bound.
func (t *tree) step() {
	n := heap.Pop(&t.open).(*node)
	if n.bound >= t.cutoff() {
		t.open = t.open[:0]
		return
	}
	t.current = n
	children := t.branch(n)
	for _, child := range children {
		if child.bound < t.cutoff() {
			t.m.visit(child, visitRounds, t.cutoff)
			child.parts = t.m.parts()
		}
		if child.bound < t.cutoff() {
			t.x.ban(child, t.cutoff())
		}
	}
	for _, child := range children {
		if child.bound < t.cutoff() {
			heap.Push(&t.open, child)
		}
	}
	if !t.x.stopped() {
		t.current = nil
	}
}

// branch splits a node where that raises the bound most.
func (t *tree) branch(n *node) []*node {
	n.prices.widen(t.x.rows())
	if t.branched++; t.branched%cutEvery == 0 {
		t.tighten(n)
	}
	if n.bound >= t.cutoff() || t.x.stopped() {
		return nil
	}
	if n.parts == nil {
		t.m.visit(n, visitRounds, t.cutoff)
		if n.bound >= t.cutoff() || t.x.stopped() {
			return nil
		}
		n.parts = t.m.parts()
	}
	clear(t.a.weight)
	for _, f := range n.parts {
		t.a.weight[f.fill] = f.part
	}
	t.a.factor = 1
	var best []*node
	bestScore := math.Inf(-1)
	for _, c := range t.candidates(n) {
		pair := t.split(n, c)
		score := 1.0
		for _, child := range pair {
			t.a.raise(child, probeSolves, t.cutoff(), 0.02)
			gain := float64(min(child.bound, t.cutoff())-n.bound) / float64(t.cutoff())
			score *= max(gain, 1e-7)
		}
		if score > bestScore {
			best, bestScore = pair, score
		}
	}
	if best == nil {
		return t.splitFill(n)
	}
	return best
}

// tighten cuts off what a node's relaxation makes of it. The cuts hold for all
// plans, and so for all nodes.
func (t *tree) tighten(n *node) {
	if len(t.x.cuts) >= min(t.rootCuts+cutsInTree, t.x.mostCuts()) {
		return
	}
	t.m.visit(n, visitRounds, t.cutoff)
	n.parts = t.m.parts()
	if n.bound >= t.cutoff() || t.x.stopped() {
		return
	}
	t.m.weights(t.a.weight)
	t.a.factor = 1
	found := t.x.separate(t.a.parts(), t.m.shortage(), cutsOfNode)
	if len(found) == 0 || t.x.stopped() {
		return
	}
	t.m.grow(found)
	t.m.visit(n, visitRounds, t.cutoff)
	n.parts = t.m.parts()
}

// candidate is a count with the whole number below what the average plan makes
// of it, and how far from whole that is.
type candidate struct {
	count
	floor int
	part  float64
}

// candidates are, for each kind of room set and number of weeks, the count that
// the average plan leaves furthest from whole.
func (t *tree) candidates(n *node) []candidate {
	if len(n.counts) >= mostCounts {
		return nil
	}
	p := t.x.p
	var list []candidate
	for g := range p.in.Programmes {
		all := make([]float64, p.weeks)
		larger := make([][]float64, len(t.areas))
		for i := range larger {
			larger[i] = make([]float64, p.weeks)
		}
		for r := range p.rooms {
			k := p.rooms[r].slotOf(g)
			if k < 0 {
				continue
			}
			class, _ := slices.BinarySearch(t.areas, p.in.Rooms[r].Area)
			one := make([]float64, p.weeks)
			for w := range one {
				one[w] = t.a.weight[p.rooms[r].slots[k].first+w] * t.a.factor
				all[w] += one[w]
				for i := 1; i <= class; i++ {
					larger[i][w] += one[w]
				}
			}
			list = t.spans(list, count{programme: g, room: r}, one)
		}
		list = t.spans(list, count{programme: g, room: -1, maxArea: math.MaxInt64}, all)
		for i := 1; i < len(t.areas); i++ {
			list = t.spans(list, count{programme: g, room: -1, minArea: t.areas[i], maxArea: math.MaxInt64}, larger[i])
		}
	}
	type kind struct{ rooms, span int }
	best := map[kind]candidate{}
	var order []kind
	for _, c := range list {
		k := kind{span: c.endWeek - c.firstWeek}
		if c.room >= 0 {
			k.rooms = 1
		} else if c.minArea > 0 {
			k.rooms = 2
		}
		b, known := best[k]
		if !known {
			order = append(order, k)
		}
		if !known || c.part > b.part {
			best[k] = c
		}
	}
	list = list[:0]
	for _, k := range order {
		list = append(list, best[k])
	}
	return list
}

// spans appends, for several numbers of weeks, the candidate furthest from whole.
func (t *tree) spans(list []candidate, c count, load []float64) []candidate {
	sums := make([]float64, len(load)+1)
	for w, v := range load {
		sums[w+1] = sums[w] + v
	}
	spans := []int{1, 2, 3, 4, 6, 9, 13, len(load)}
	slices.Sort(spans)
	for _, span := range slices.Compact(spans) {
		best := candidate{part: leastPart}
		for w := 0; w+span <= len(load); w++ {
			total := sums[w+span] - sums[w]
			floor := math.Floor(total)
			if part := min(total-floor, floor+1-total); part > best.part {
				c.firstWeek, c.endWeek = w, w+span
				best = candidate{count: c, floor: int(floor), part: part}
			}
		}
		if best.endWeek > 0 {
			list = append(list, best)
		}
	}
	return list
}

// split makes the two children of a node in which a count is at most its floor
// and at least one more.
func (t *tree) split(n *node, c candidate) []*node {
	low, high := c.count, c.count
	low.limit = c.floor
	high.limit, high.atLeast = c.floor+1, true
	return []*node{t.child(n, low), t.child(n, high)}
}

func (t *tree) child(n *node, c count) *node {
	child := &node{bound: n.bound, banned: n.banned.clone(), counts: slices.Clone(n.counts), basis: n.basis, cuts: n.cuts}
	if c.limit == 0 && !c.atLeast {
		t.x.p.forbid(child.banned, &c)
	} else {
		child.counts = append(child.counts, c)
	}
	child.prices.copyFrom(&n.prices, t.x.rows(), len(child.counts))
	return child
}

// forbid bans every fill a count covers.
func (p *problem) forbid(m *mask, c *count) {
	for r := range p.rooms {
		if k := p.rooms[r].slotOf(c.programme); k >= 0 && c.covers(r, p.in.Rooms[r].Area) {
			for w := c.firstWeek; w < c.endWeek; w++ {
				m.set(p.rooms[r].slots[k].first + w)
			}
		}
	}
}

// splitFill branches on a single fill where no count is left far from whole: on
// the one least decided in the average. With every room decided, the node is one
// plan, which is offered, or none.
func (t *tree) splitFill(n *node) []*node {
	type option struct {
		room int
		choice
		part float64
	}
	var options []option
	for r := range t.x.p.rooms {
		for _, c := range t.x.contained(r, n) {
			w := t.a.weight[t.x.p.rooms[r].slots[c.slot].first+c.week] * t.a.factor
			options = append(options, option{r, c, min(w, 1-w)})
		}
	}
	slices.SortStableFunc(options, func(a, b option) int { return cmp.Compare(b.part, a.part) })
	for _, best := range options {
		without := n.clone()
		without.banned.set(t.x.p.rooms[best.room].slots[best.slot].first + best.week)
		if t.x.plan(best.room, without, &n.prices) < never {
			return []*node{without, t.with(n, best.room, best.choice)}
		}
	}
	if t.x.solve(n, &n.prices) < math.MaxInt64 {
		t.offer(t.x.paths)
	}
	return nil
}

// with is the part of a node whose plans contain a fill.
func (t *tree) with(n *node, room int, c choice) *node {
	with := n.clone()
	p := t.x.p
	slot := &p.rooms[room].slots[c.slot]
	with.banned.set(p.fills + room*p.weeks + c.week)
	for k := range p.rooms[room].slots {
		s := &p.rooms[room].slots[k]
		for w := max(0, c.week-s.occ+1); w < p.after(slot, c.week); w++ {
			if k != c.slot || w != c.week {
				with.banned.set(s.first + w)
			}
		}
	}
	return with
}

// contained lists the fills that some of a room's timelines contain.
func (x *relaxation) contained(r int, n *node) []choice {
	p := x.p
	room := &p.rooms[r]
	if room.free >= p.weeks {
		return nil
	}
	// reached[w] and leads[w] say whether the room can become free in week w, and
	// whether it can go on to the end from there.
	reached, leads := make([]bool, p.weeks+1), make([]bool, p.weeks+1)
	may := func(s *slot, w int) bool { return s.base[w] < never && !n.banned.has(s.first+w) }
	idle := func(w int) bool { return room.idle[w] && !n.banned.has(p.fills+r*p.weeks+w) }
	reached[room.free], leads[p.weeks] = true, true
	for w := room.free; w < p.weeks; w++ {
		reached[w+1] = reached[w+1] || reached[w] && idle(w)
		for k := range room.slots {
			if s := &room.slots[k]; reached[w] && may(s, w) {
				reached[p.after(s, w)] = true
			}
		}
	}
	var list []choice
	for w := p.weeks - 1; w >= room.free; w-- {
		leads[w] = idle(w) && leads[w+1]
		for k := range room.slots {
			if s := &room.slots[k]; may(s, w) && leads[p.after(s, w)] {
				leads[w] = true
				if reached[w] {
					list = append(list, choice{slot: k, week: w})
				}
			}
		}
	}
	return list
}
