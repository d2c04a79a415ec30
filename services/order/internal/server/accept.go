package server

import (
	"cmp"
	"slices"

	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/store"
)

// accepting works out what customers take in place of what they order.
type accepting struct {
	products []store.Product
	rank     map[string]int // of a grade, the best first
}

func newAccepting(products []store.Product, grades []string) accepting {
	a := accepting{products: products, rank: make(map[string]int, len(grades))}
	for i, g := range grades {
		a.rank[g] = i
	}
	return a
}

// instead lists the products that a customer takes in place of one, by id, each with the least
// reluctance that a substitute or a grade step gives it.
func (a accepting) instead(w wishes, ordered store.Product) []match.Instead {
	least := make(map[string]int64)
	take := func(product string, reluctance int64) {
		if known, there := least[product]; !there || reluctance < known {
			least[product] = reluctance
		}
	}
	for _, s := range w.Substitutes {
		if s.Product == ordered.ID {
			take(s.Instead, s.Reluctance)
		}
	}
	if w.Grades != nil {
		for _, p := range a.products {
			if steps, near := a.steps(ordered, p); near && steps <= w.Grades.Poorer && -steps <= w.Grades.Better {
				take(p.ID, w.Grades.Reluctance*int64(max(steps, -steps)))
			}
		}
	}
	all := make([]match.Instead, 0, len(least))
	for product, reluctance := range least {
		all = append(all, match.Instead{Product: product, Reluctance: reluctance})
	}
	slices.SortFunc(all, func(x, y match.Instead) int { return cmp.Compare(x.Product, y.Product) })
	return all
}

// steps is how many grades poorer a product is than another that is like it in all but grade;
// near is false where it is not.
func (a accepting) steps(ordered, p store.Product) (steps int, near bool) {
	from, graded := a.rank[ordered.Grade]
	to, too := a.rank[p.Grade]
	same := p.ID != ordered.ID && p.Species == ordered.Species && p.Strain == ordered.Strain && p.PickStage == ordered.PickStage &&
		p.Size == ordered.Size && p.PackGrams == ordered.PackGrams
	return to - from, graded && too && same
}
