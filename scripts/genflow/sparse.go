package main

import "fmt"

// genSparse makes a capacitated transshipment network in the manner of the
// published description of NETGEN (skeleton chains from every source through
// the transshipment nodes to sinks, which make it feasible; then random arcs).
// It shares no code with NETGEN and its instances differ from NETGEN's.
// 2^k nodes, 8*2^k arcs, about sqrt(nodes) sources and as many sinks, supply
// 1000 per source on average, capacities 1..1000, costs 1..10000.
func genSparse(k int) *net {
	name := fmt.Sprintf("sparse-8-%d", k)
	seed := uint64(424200 + k)
	r := newRNG(seed, name)
	n := 1 << k
	ns := isqrt(n)
	arcs := 8 * n
	g := &net{name: name}
	g.supply = make([]int, n)
	total := 1000 * ns
	// sources 1..ns, sinks n-ns+1..n
	left := total
	for i := 0; i < ns; i++ {
		g.supply[i] = 1
		left--
	}
	for left > 0 {
		q := min(left, r.between(1, 400))
		g.supply[r.between(0, ns-1)] += q
		left -= q
	}
	// transshipment nodes dealt to the sources' chains in random order
	trans := make([]int, n-2*ns)
	for i := range trans {
		trans[i] = ns + 1 + i
	}
	for i := len(trans) - 1; i > 0; i-- {
		j := r.between(0, i)
		trans[i], trans[j] = trans[j], trans[i]
	}
	seen := map[[2]int]bool{}
	add := func(u, v, c, w int) {
		seen[[2]int{u, v}] = true
		g.arc(u, v, c, w)
	}
	// each source's supply is cut over 2..5 sinks
	sinkDemand := make([]int, ns)
	pos := 0
	for i := 0; i < ns; i++ {
		take := (len(trans) - pos) / (ns - i)
		at := i + 1
		s := g.supply[i]
		skel := func(v int) { // skeleton arcs carry the whole chain and are dear
			if !seen[[2]int{at, v}] {
				add(at, v, s, r.between(5000, 10000))
			}
		}
		for _, t := range trans[pos : pos+take] {
			skel(t)
			at = t
		}
		pos += take
		parts := r.between(2, 5)
		rest := s
		for p := 0; p < parts && rest > 0; p++ {
			q := rest
			if p < parts-1 {
				q = r.between(1, rest)
			}
			// first come first served: sink i is always used, so none stays empty
			t := i
			if p > 0 {
				t = r.between(0, ns-1)
			}
			sinkDemand[t] += q
			skel(n - ns + 1 + t)
			rest -= q
		}
	}
	for i, dm := range sinkDemand {
		g.supply[n-ns+i] = -dm
	}
	for len(g.from) < arcs {
		u := r.between(1, n-ns) // not out of a sink
		v := r.between(ns+1, n) // not into a source
		if u == v || seen[[2]int{u, v}] {
			continue
		}
		add(u, v, r.between(1, 1000), r.between(1, 10000))
	}
	g.comment = []string{fmt.Sprintf("%s seed %d: NETGEN-like sparse network, %d sources, %d sinks, total supply %d", name, seed, ns, ns, total)}
	return g
}
