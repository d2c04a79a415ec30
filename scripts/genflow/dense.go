package main

import "fmt"

func genDense(n int) *net {
	name := fmt.Sprintf("dense-%d", n)
	seed := uint64(777000 + n)
	r := newRNG(seed, name)
	g := &net{name: name}
	g.supply = make([]int, 2*n)
	total := 0
	for i := 0; i < n; i++ {
		g.supply[i] = r.between(10, 200)
		total += g.supply[i]
	}
	// random positive demands with the same total
	dm := make([]int, n)
	for j := range dm {
		dm[j] = 1
	}
	left := total - n
	for left > 0 {
		q := min(left, r.between(1, 9))
		dm[r.between(0, n-1)] += q
		left -= q
	}
	for j := range dm {
		g.supply[n+j] = -dm[j]
	}
	for i := 0; i < n; i++ {
		for j := 0; j < n; j++ {
			g.arc(i+1, n+j+1, min(g.supply[i], dm[j]), r.between(1, 10000))
		}
	}
	g.comment = []string{fmt.Sprintf("%s seed %d: dense transportation, total %d, costs uniform 1..10000", name, seed, total)}
	return g
}
