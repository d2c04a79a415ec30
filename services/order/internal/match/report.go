package match

import (
	"cmp"
	"maps"
	"slices"
)

// accounts are the sums of a match by what they are about.
type accounts struct {
	products map[string]*ProductSum
	farms    map[string]*FarmSum
	// line and lot have matched packs; class has by lot what each class took.
	line map[lineKey]int64
	lot  map[string]int64
	took map[string]*[10]int64
}

// report sums the allocations up and says why each short line is short.
func (p *prepared) report(allocations []Allocation, best solution, dropped map[int]bool) Match {
	m := Match{Allocations: allocations}
	acc := p.account(allocations)
	prices := best.ofProduct()
	e := explainer{prepared: p, acc: acc, prices: prices, dropped: dropped, seen: make(map[string]*view)}
	farms := farmsOf(allocations)
	served := 0
	for i, l := range p.lines {
		key := lineKey{l.Order, l.Product}
		got := Got{Line: l, Matched: acc.line[key], Farms: farms[key]}
		if got.Matched > 0 {
			served++
		}
		if got.Matched < got.Packs {
			e.explain(i, &got)
		}
		m.Lines = append(m.Lines, got)
	}
	for _, id := range slices.Sorted(maps.Keys(acc.products)) {
		s := *acc.products[id]
		if s.Offered == 0 && s.Ordered == 0 {
			continue
		}
		s.Price = prices[id]
		s.LeftOver = e.leftOver(s, m.Lines)
		m.Products = append(m.Products, s)
	}
	for _, id := range slices.Sorted(maps.Keys(acc.farms)) {
		if acc.farms[id].Offered > 0 {
			m.Farms = append(m.Farms, *acc.farms[id])
		}
	}
	best.proof.Splits = len(allocations) - served
	m.Proof = best.proof
	return m
}

// account sums up.
func (p *prepared) account(allocations []Allocation) *accounts {
	acc := &accounts{
		products: make(map[string]*ProductSum), farms: make(map[string]*FarmSum),
		line: make(map[lineKey]int64), lot: make(map[string]int64), took: make(map[string]*[10]int64),
	}
	for _, l := range p.lots {
		// What left is offered, whatever became of the lot since.
		offered := p.sentLot[l.ID]
		if p.fit(l) == Fits {
			offered = max(l.Packs, offered)
		}
		acc.product(l.Product).Offered += offered
		acc.farm(l.Farm).Offered += offered
	}
	classes := make(map[lineKey]int, len(p.lines))
	for _, l := range p.lines {
		classes[lineKey{l.Order, l.Product}] = l.Class
	}
	for _, a := range allocations {
		key := lineKey{a.Order, a.Product}
		acc.line[key] += a.Packs
		acc.lot[a.Lot] += a.Packs
		if acc.took[a.Lot] == nil {
			acc.took[a.Lot] = &[10]int64{}
		}
		acc.took[a.Lot][classes[key]] += a.Packs
		acc.farm(a.Farm).Matched += a.Packs
		acc.product(a.Packed).Given += a.Packs
	}
	for _, l := range p.lines {
		sum := acc.product(l.Product)
		sum.Ordered += l.Packs
		sum.Matched += acc.line[lineKey{l.Order, l.Product}]
	}
	return acc
}

func (a *accounts) product(id string) *ProductSum {
	if a.products[id] == nil {
		a.products[id] = &ProductSum{Product: id}
	}
	return a.products[id]
}

func (a *accounts) farm(id string) *FarmSum {
	if a.farms[id] == nil {
		a.farms[id] = &FarmSum{Farm: id}
	}
	return a.farms[id]
}

// farmsOf counts the farms that each line has packs from; allocations are by farm.
func farmsOf(allocations []Allocation) map[lineKey]int {
	type pair struct {
		lineKey
		farm string
	}
	seen, count := make(map[pair]bool, len(allocations)), make(map[lineKey]int)
	for _, a := range allocations {
		if at := (pair{lineKey{a.Order, a.Product}, a.Farm}); !seen[at] {
			seen[at] = true
			count[at.lineKey]++
		}
	}
	return count
}

// name of a product for people.
func (p *prepared) name(product string) string { return cmp.Or(p.products[product].Name, product) }
