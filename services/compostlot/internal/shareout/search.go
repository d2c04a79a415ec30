package shareout

import (
	"cmp"
	"slices"
)

// searchWork bounds the search for the best choice of whole fills and smallest
// amounts: it looks at about this many arcs in all, so a small round is
// searched to the end and a large one for a fraction of a second. Counting
// work, not time, keeps the answer the same on every machine.
const searchWork = 120_000

// worthBranching is how many solves the search must be good for: fewer find
// nothing that the dive has not found.
const worthBranching = 30

// violation is an amount between nothing and its smallest.
type violation struct {
	request int
	arc     int // -1: the request as a whole
	has     int64
	least   int64
}

// half says that the amount is nearer to its smallest than to nothing.
func (v violation) half() bool { return 2*v.has >= v.least }

// violations lists them, fullest first.
func (t *table) violations(p *plan) []violation {
	var out []violation
	for r := range t.requests {
		var sum int64
		for a := t.first[r]; a < t.first[r+1]; a++ {
			sum += p.flow[a]
			if p.flow[a] > 0 && p.flow[a] < t.arcs[a].lot {
				out = append(out, violation{request: r, arc: a, has: p.flow[a], least: t.arcs[a].lot})
			}
		}
		if sum > 0 && sum < t.least[r] {
			out = append(out, violation{request: r, arc: -1, has: sum, least: t.least[r]})
		}
	}
	slices.SortStableFunc(out, func(a, b violation) int {
		return (Level{b.has, b.least}).Compare(Level{a.has, a.least})
	})
	return out
}

// better says that a beats b: higher levels from the lowest up, then cheaper
// haul.
func better(a, b *plan) bool {
	return cmp.Or(-compareLevels(a.levels, b.levels), cmp.Compare(a.haul, b.haul)) < 0
}

// start is the pattern before any choice: what can never be had is closed.
func (t *table) start() pattern {
	p := pattern{requests: make([]choice, len(t.requests)), arcs: make([]choice, len(t.arcs))}
	for r, req := range t.requests {
		var reach int64
		for a := t.first[r]; a < t.first[r+1]; a++ {
			if t.arcs[a].lot > min(t.room[t.arcs[a].slot], req.AskedKg) {
				p.arcs[a] = closed
				continue
			}
			reach += t.room[t.arcs[a].slot]
		}
		if reach < t.least[r] {
			p.requests[r] = closed
		}
	}
	return p
}

// search finds the best plan that breaks no smallest amount, and how far it
// can be from the best there is.
func (t *table) search() (*plan, Bound) {
	p := t.start()
	root, ok := t.solve(p)
	if !ok {
		panic("shareout: a round without forced amounts always has an answer")
	}
	bound := Bound{Exact: true, MostKg: root.total}
	if len(root.levels) > 0 {
		bound.LowestLevel = root.levels[0]
	}
	bad := t.violations(root)
	if len(bad) == 0 {
		return root, bound
	}
	s := searcher{table: t, best: t.dive(p, root), left: searchWork / (len(t.arcs) + len(t.requests))}
	if s.left >= worthBranching {
		s.branch(p, root)
	}
	bound.Exact = s.left >= worthBranching && !s.spent
	if !bound.Exact {
		s.best = t.topUp(s.best)
	}
	return s.best, bound
}

// dive reaches some plan quickly: in each pass it opens what is at least half
// filled and closes the rest, or closes all where that many cannot be open.
// What is still broken after the passes is dropped, and topUp shares out what
// that frees.
func (t *table) dive(p pattern, at *plan) *plan {
	const passes = 5
	for range passes {
		bad := t.violations(at)
		if len(bad) == 0 {
			return at
		}
		opened, shut := p.clone(), p.clone()
		for _, v := range bad {
			shut.set(v, closed)
			opened.set(v, closed)
			if v.half() {
				opened.set(v, open)
			}
		}
		if next, ok := t.solve(opened); ok {
			p, at = opened, next
		} else if next, ok := t.solve(shut); ok {
			p, at = shut, next
		} else {
			break // an open request has lost the slots it stood on
		}
	}
	return t.drop(at)
}

// drop takes away every amount below its smallest, and shares out what that
// frees.
func (t *table) drop(p *plan) *plan {
	out := &plan{flow: slices.Clone(p.flow)}
	for bad := t.violations(out); len(bad) > 0; bad = t.violations(out) {
		for _, v := range bad {
			for a := t.first[v.request]; a < t.first[v.request+1]; a++ {
				if v.arc < 0 || v.arc == a {
					out.flow[a] = 0
				}
			}
		}
	}
	return t.topUp(out)
}

// searcher is a depth-first branch and bound with a budget.
type searcher struct {
	*table
	best  *plan
	left  int  // solves that may still be made
	spent bool // something was left unsearched
}

// branch explores both choices for the fullest violation of a plan that was
// solved for pattern p. The plan bounds all below it: what is decided there
// only takes freedom away.
func (s *searcher) branch(p pattern, at *plan) {
	if !better(at, s.best) {
		return
	}
	bad := s.violations(at)
	if len(bad) == 0 {
		s.best = at
		return
	}
	for _, c := range []choice{open, closed} {
		if s.left == 0 {
			s.spent = true
			return
		}
		s.left--
		q := p.clone()
		q.set(bad[0], c)
		if next, ok := s.solve(q); ok {
			s.branch(q, next)
		}
	}
}

// topUp gives what is left in slots to requests that can still use it, lowest
// farms first, without taking from anybody.
func (t *table) topUp(p *plan) *plan {
	out := &plan{flow: slices.Clone(p.flow)}
	left := t.leftOver(out)
	for _, r := range t.byLevel(out) {
		t.raise(out, r, left)
	}
	for a, f := range out.flow {
		out.total += f
		out.haul += f * t.arcs[a].haul
	}
	for f, kg := range t.gotten(out) {
		out.levels = append(out.levels, Level{kg, t.farms[f].unit})
	}
	slices.SortFunc(out.levels, Level.Compare)
	return out
}

// raise gives request r as much of what is left as it may have, cheapest haul
// first, unless that stays below its smallest amount.
func (t *table) raise(p *plan, r int, left []int64) {
	order := make([]int, 0, t.first[r+1]-t.first[r])
	var has int64
	for a := t.first[r]; a < t.first[r+1]; a++ {
		order = append(order, a)
		has += p.flow[a]
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(t.arcs[a].haul, t.arcs[b].haul) })
	gain := make(map[int]int64)
	for _, a := range order {
		more := min(left[t.arcs[a].slot], t.requests[r].AskedKg-has)
		if p.flow[a]+more < t.arcs[a].lot {
			continue
		}
		gain[a] = more
		has += more
	}
	if has < t.least[r] {
		return
	}
	for a, more := range gain {
		p.flow[a] += more
		left[t.arcs[a].slot] -= more
	}
}

// leftOver is what a plan leaves of each slot.
func (t *table) leftOver(p *plan) []int64 {
	left := make([]int64, len(t.slots))
	for s := range t.slots {
		left[s] = t.slots[s].CapacityKg
	}
	for a, f := range p.flow {
		left[t.arcs[a].slot] -= f
	}
	return left
}

// gotten is what a plan gives each farm.
func (t *table) gotten(p *plan) []int64 {
	got := make([]int64, len(t.farms))
	for a, kg := range p.flow {
		got[t.farmOf[t.arcs[a].request]] += kg
	}
	return got
}

// byLevel orders requests by the level their farm has reached, then by id.
func (t *table) byLevel(p *plan) []int {
	got := t.gotten(p)
	order := make([]int, len(t.requests))
	for r := range order {
		order[r] = r
	}
	slices.SortStableFunc(order, func(a, b int) int {
		fa, fb := t.farmOf[a], t.farmOf[b]
		return Level{got[fa], t.farms[fa].unit}.Compare(Level{got[fb], t.farms[fb].unit})
	})
	return order
}
