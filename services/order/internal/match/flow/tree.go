package flow

// tree is the spanning tree of the basis. Every node hangs by one arc from its
// parent; the root is an extra node, numbered like a node after the last, from
// which artificial arcs reach the nodes that no real arc holds yet.
//
// All nodes but resting leaves are on a preorder thread, so that a subtree is
// a run of it. A resting leaf is a node that only receives and has no child;
// its potential is kept as an offset from its parent's, see base.
type tree struct {
	node []treeNode
	// thread and back run through the nodes in preorder, root first, in a ring.
	thread, back []int32
	// potential of node u is value[base[u]] + value[u]. For a resting leaf
	// base is the parent; for all others it is the zero entry after the root.
	// Both have nodes+2 entries.
	value []int64
	base  []int32
}

type treeNode struct {
	parent int32
	pred   int32 // arc to the parent; from layout.arcs on: artificial
	size   int32 // nodes in the subtree, this one and resting leaves included
	last   int32 // last node of the subtree on the thread
	kids   int32
	upward bool // pred runs from this node to the parent
	rests  bool // only receives: rests as a leaf when it has no child
	// up and down are the amounts that may still be sent from this node to its
	// parent and from the parent to this node. Together they make pred's
	// capacity.
	up, down int64
}

// link is the arc by which a node hangs from its parent, apart so that it can be
// handed around in registers: a struct of more than four fields would be put
// into memory.
type link struct {
	pred     int32
	upward   bool
	up, down int64
}

// flow on the arc to the parent, above its least flow.
func (t *treeNode) flow() int64 {
	if t.upward {
		return t.down
	}
	return t.up
}

const (
	none int32 = -1
	// unlimited stands for an infinite residual. Flows stay below 2^60, so
	// what is left of it stays above unlimited/2.
	unlimited int64 = 1 << 62
)

// reset makes room for n nodes.
func (t *tree) reset(n int) {
	t.node = resize(t.node, n+1)
	t.thread = resize(t.thread, n+1)
	t.back = resize(t.back, n+1)
	t.value = resize(t.value, n+2)
	t.base = resize(t.base, n+2)
}

func (t *tree) root() int32 { return int32(len(t.node) - 1) }

// pot returns the potential of node u.
func (t *tree) pot(u int32) int64 { return t.value[t.base[u]] + t.value[u] }

func (t *tree) isRestingLeaf(u int32) bool { return t.node[u].rests && t.node[u].kids == 0 }

// star hangs every node from the root by an artificial arc.
func (s *Solver) star() {
	root := s.root()
	zero := root + 1
	last := root // on the thread so far
	for u, b := range s.supply {
		u := int32(u)
		s.connect(u, root, s.artificial(u, b))
		t := &s.node[u]
		t.size, t.last, t.kids, t.rests = 1, u, 0, s.mayRest(u)
		s.value[u], s.base[u] = s.penalty, root
		if t.upward {
			s.value[u] = -s.penalty
		}
		if !t.rests {
			s.base[u] = zero
			s.thread[last], s.back[u] = u, last
			last = u
		}
	}
	n := int32(len(s.supply))
	s.node[root] = treeNode{parent: none, pred: none, size: n + 1, last: last, kids: n}
	s.thread[last], s.back[root] = root, last
	s.value[root], s.base[root] = 0, zero
	s.value[zero], s.base[zero] = 0, zero
}

// unhook makes every node a tree of its own.
func (s *Solver) unhook() {
	for u := range s.node {
		t := &s.node[u]
		t.parent, t.pred, t.size, t.last, t.kids, t.rests = none, none, 1, int32(u), 0, false
	}
	if s.grouped {
		for u := range s.supply {
			s.node[u].rests = !s.sends[u]
		}
	}
}

// adopt puts u, the top of a tree of its own that is finished and hangs from
// parent by now, into the parent's tree.
func (t *tree) adopt(parent, u int32) {
	c, p := &t.node[u], &t.node[parent]
	p.size += c.size
	p.kids++
	if c.rests && c.kids == 0 {
		return
	}
	if p.last == parent {
		p.last = c.last
	} else {
		after := t.thread[parent]
		t.thread[c.last], t.back[after] = after, c.last
	}
	t.thread[parent], t.back[u] = u, parent
}

// gather hangs every node that still has no parent, and with it its tree, from
// the root.
func (s *Solver) gather() {
	root := s.root()
	for u, b := range s.supply {
		if s.node[u].parent == none {
			s.connect(int32(u), root, s.artificial(int32(u), b))
			s.adopt(root, int32(u))
		}
	}
	last := s.node[root].last
	s.thread[last], s.back[root] = root, last
	s.refreshPotentials()
}

// mayRest says whether u may rest as a leaf. Outside groups arcs are priced by
// plain potentials, so none may.
func (s *Solver) mayRest(u int32) bool { return s.grouped && !s.sends[u] }

// hang attaches every node without a parent to the root by an artificial arc
// that carries its rest.
func (s *Solver) hang() {
	for u, b := range s.supply {
		if s.node[u].parent != none {
			continue
		}
		s.connect(int32(u), s.root(), s.artificial(int32(u), b))
	}
}

// artificial is the arc between u and the root with the flow b upward.
func (s *Solver) artificial(u int32, b int64) link {
	if b < 0 {
		return link{s.arcs + u, false, -b, unlimited + b}
	}
	return link{s.arcs + u, true, unlimited - b, b}
}

// build sets sizes, thread and potentials from the parents.
func (s *Solver) build() {
	s.parentsFirst()
	node, value, base := s.node, s.value, s.base
	root := s.root()
	zero := root + 1
	s.thread[root], s.back[root] = root, root
	value[root], value[zero] = 0, 0
	base[root], base[zero] = zero, zero
	for _, u := range s.order[1:] {
		value[u] = s.offset(u)
		if s.isRestingLeaf(u) {
			base[u] = node[u].parent
			continue
		}
		base[u] = zero
		value[u] += value[node[u].parent]
		s.link(u)
	}
	// Backwards along the thread a node's last child comes first.
	for u := s.back[root]; u != root; u = s.back[u] {
		p := node[u].parent
		if up := &node[p]; up.last == p {
			up.last = node[u].last
		}
	}
}

// parentsFirst fills s.order with the root and then all nodes, each after its
// parent, by counting the children still to come and peeling leaves. It also
// counts children and sizes.
func (s *Solver) parentsFirst() {
	node := s.node
	n := len(node)
	s.order = resize(s.order, n)
	left := s.back // children to come; none once placed
	for u := range node {
		t := &node[u]
		t.size, t.kids, t.last = 1, 0, int32(u)
		left[u] = 0
	}
	for u := range s.supply {
		p := node[u].parent
		node[p].kids++
		left[p]++
	}
	k := n
	for u := range node {
		// Climb while the node just placed was its parent's last child.
		for v := int32(u); left[v] == 0; {
			left[v] = none
			k--
			s.order[k] = v
			p := node[v].parent
			if p == none {
				break
			}
			node[p].size += node[v].size
			left[p]--
			v = p
		}
	}
}

// link puts u on the thread right behind its parent.
func (t *tree) link(u int32) {
	p := t.node[u].parent
	after := t.thread[p]
	t.thread[p], t.back[u] = u, p
	t.thread[u], t.back[after] = after, u
}

// moveLast replaces the last thread node of p and of its ancestors while it is
// from.
func (t *tree) moveLast(p, from, to int32) {
	node := t.node
	for p != none && node[p].last == from {
		node[p].last = to
		p = node[p].parent
	}
}

// wake puts a resting leaf on the thread, about to get a child.
func (t *tree) wake(u int32) {
	t.value[u] = t.pot(u)
	t.base[u] = t.root() + 1
	t.link(u)
	p := t.node[u].parent
	t.node[u].last = u
	t.moveLast(p, p, u)
}

// settle takes a node that lost its last child off the thread.
func (t *tree) settle(u int32) {
	p := t.node[u].parent
	t.value[u] -= t.value[p]
	t.base[u] = p
	before, after := t.back[u], t.thread[u]
	t.thread[before], t.back[after] = after, before
	t.moveLast(p, u, before)
}

// refreshPotentials computes all potentials anew from the tree.
func (s *Solver) refreshPotentials() {
	root := s.root()
	zero := root + 1
	s.value[root], s.value[zero] = 0, 0
	s.base[root], s.base[zero] = zero, zero
	node, thread, value, base := s.node, s.thread, s.value, s.base
	for u := thread[root]; u != root; u = thread[u] {
		value[u] = value[node[u].parent] + s.offset(u)
		base[u] = zero
	}
	if !s.grouped {
		return
	}
	for u := range s.supply {
		if u := int32(u); s.isRestingLeaf(u) {
			s.value[u] = s.offset(u)
			s.base[u] = s.node[u].parent
		}
	}
}

// offset is the potential of u above its parent's: tree arcs have reduced
// cost 0.
func (s *Solver) offset(u int32) int64 {
	t := &s.node[u]
	c := s.treeCost(t.pred)
	if t.upward {
		return -c
	}
	return c
}

// treeCost returns the cost of arc a, which may be artificial.
func (s *Solver) treeCost(a int32) int64 {
	if a < s.arcs {
		return s.costOf(a)
	}
	return s.penalty
}
