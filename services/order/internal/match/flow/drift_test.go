package flow

import "testing"

// TestPotentialsDoNotDrift starts where only a very long search gets, with all
// potentials beyond the edge of what they may reach. Along a chain of pairs of
// arcs it makes the dearer of each pair the cheaper, so that it takes the
// other's place in the tree, sometimes with the larger part of it below.
func TestPotentialsDoNotDrift(t *testing.T) {
	t.Parallel()
	const n = 40
	p := &Problem{Supply: make([]int64, n)}
	p.Supply[0], p.Supply[n-1] = 5, -5
	for u := range int32(n - 1) {
		for _, cost := range []int64{3, 7} {
			p.From, p.To = append(p.From, u), append(p.To, u+1)
			p.Cap, p.Cost = append(p.Cap, 9), append(p.Cost, cost)
		}
	}
	var s Solver
	if _, err := s.Solve(t.Context(), p, Options{}); err != nil {
		t.Fatal(err)
	}
	s.p = p
	s.findPlaces()
	cost := int64(3)
	for _, edge := range []int64{maxDrift + 1000, -maxDrift - 1000} {
		root := s.root()
		s.value[root] += edge
		for u := s.thread[root]; u != root; u = s.thread[u] {
			s.value[u] += edge
		}
		cost--
		for pair := range int32(n - 1) {
			arc := 2 * pair
			if s.lower(s.place[arc], pair, pair+1) != none {
				arc++ // the other one is in the tree
			}
			u, err := s.Change(t.Context(), Change{Arcs: []ArcTerms{{Arc: arc, Cap: 9, Cost: cost}}}, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if err := Verify(p, u.Result); err != nil {
				t.Fatalf("pair %d: %v", pair, err)
			}
		}
		if v := s.value[s.root()]; v > maxDrift/2 || v < -maxDrift/2 {
			t.Errorf("from %d the root's potential only came to %d", edge, v)
		}
	}
}
