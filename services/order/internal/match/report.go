package match

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
)

// pool is what the report knows of one product, in packs.
type pool struct {
	ProductSum
	// held and past their shelf life, not offered.
	held, past int64
	// matched by class.
	class [10]int64
}

// report sums the allocations up and says why each short line is short.
func (p prepared) report(allocations []Allocation) Match {
	m := Match{Allocations: allocations}
	pools := make(map[string]*pool)
	of := func(product string) *pool {
		if pools[product] == nil {
			pools[product] = &pool{ProductSum: ProductSum{Product: product}}
		}
		return pools[product]
	}
	farms := make(map[string]FarmSum)
	for _, l := range p.lots {
		offered := p.offer(l, of(l.Product))
		f := farms[l.Farm]
		farms[l.Farm] = FarmSum{l.Farm, f.Offered + offered, f.Matched}
	}
	got := make(map[lineKey]int64)
	for _, a := range allocations {
		got[lineKey{a.Order, a.Product}] += a.Packs
		f := farms[a.Farm]
		farms[a.Farm] = FarmSum{a.Farm, f.Offered, f.Matched + a.Packs}
	}
	for _, l := range p.lines {
		matched, pool := got[lineKey{l.Order, l.Product}], of(l.Product)
		pool.Ordered += l.Packs
		pool.Matched += matched
		pool.class[l.Class] += matched
		m.Lines = append(m.Lines, Got{Line: l, Matched: matched})
	}
	for i := range m.Lines {
		m.Lines[i].explain(p.products[m.Lines[i].Product], *pools[m.Lines[i].Product])
	}
	for _, id := range slices.Sorted(maps.Keys(pools)) {
		if s := pools[id].ProductSum; s.Offered > 0 || s.Ordered > 0 {
			m.Products = append(m.Products, s)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(farms)) {
		if farms[id].Offered > 0 {
			m.Farms = append(m.Farms, farms[id])
		}
	}
	return m
}

// offer adds the lot to its pool and returns the packs that it offers. What left is offered,
// whatever became of the lot since.
func (p prepared) offer(l Lot, pool *pool) int64 {
	sent := p.sentLot[l.ID]
	offered, rest := max(l.Packs, sent), max(0, l.Packs-sent)
	switch p.fit(l) {
	case IsHeld:
		pool.held += rest
		offered = sent
	case PastLife:
		pool.past += rest
		offered = sent
	}
	pool.Offered += offered
	return offered
}

// explain says why the line is short, in figures.
func (g *Got) explain(product Product, p pool) {
	if g.Matched == g.Packs {
		return
	}
	higher := int64(0)
	for _, packs := range p.class[1:g.Class] {
		higher += packs
	}
	same := p.class[g.Class] - g.Matched
	name := cmp.Or(product.Name, product.ID)
	switch {
	case p.Offered == 0 && p.held+p.past == 0:
		g.Reason = NotOffered
		g.Explanation = fmt.Sprintf("No farm has %s for this day.", name)
		return
	case p.Offered == 0:
		g.Reason = NotFit
		g.Explanation = fmt.Sprintf("All %s of %s are kept back: %s.", packs(p.held+p.past), name, p.unfit())
		return
	case same > 0:
		g.Reason = SameClass
	case higher > 0:
		g.Reason = HigherClass
	default:
		g.Reason = NotEnough
	}
	g.Explanation = fmt.Sprintf("%s ordered, %d matched: %s.", packs(g.Packs), g.Matched, p.whereWent(name, higher, same, g.Class))
	if p.held+p.past > 0 {
		g.Explanation += fmt.Sprintf(" Kept back: %s.", p.unfit())
	}
}

// whereWent says who took what is offered.
func (p pool) whereWent(name string, higher, same int64, class int) string {
	text := fmt.Sprintf("the farms have only %s of %s for %d ordered", packs(p.Offered), name, p.Ordered)
	if higher > 0 {
		text += fmt.Sprintf(", %d went to customers of a higher class than %d", higher, class)
	}
	if same > 0 {
		text += fmt.Sprintf(", %d to other orders of class %d", same, class)
	}
	return text
}

// unfit says what is not offered.
func (p pool) unfit() string {
	switch {
	case p.past == 0:
		return fmt.Sprintf("%s held", packs(p.held))
	case p.held == 0:
		return fmt.Sprintf("%s past the shelf life", packs(p.past))
	}
	return fmt.Sprintf("%s held, %d past the shelf life", packs(p.held), p.past)
}

// packs writes a count.
func packs(n int64) string {
	if n == 1 {
		return "1 pack"
	}
	return fmt.Sprintf("%d packs", n)
}
