package server

import (
	"cmp"
	"slices"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// kindOf is what a product is made of. Products that differ only in pack, size or
// grade are of one kind, and are planned together.
func kindOf(p store.Product) programme.Product {
	return programme.Product{Species: p.Species, Stage: p.PickStage}
}

// kinds lists what products are made of, and what programmes bear beside that, each
// once, by species and stage. A species that is sold at any stage of picking is one
// kind, but for stages sold on their own.
func kinds(products []store.Product, programmes []*programme.Programme) []programme.Product {
	var out []programme.Product
	for _, p := range products {
		out = append(out, kindOf(p))
	}
	anyStage := map[string]bool{}
	for _, k := range out {
		anyStage[k.Species] = anyStage[k.Species] || k.Stage == programme.NoPickStage
	}
	for _, p := range programmes {
		if !anyStage[p.Species] {
			out = append(out, p.Products()...)
		}
	}
	slices.SortFunc(out, func(a, b programme.Product) int {
		return cmp.Or(cmp.Compare(a.Species, b.Species), cmp.Compare(a.Stage, b.Stage))
	})
	return slices.Compact(out)
}

// productIDs lists the products of a kind, by id.
func productIDs(products []store.Product, kind programme.Product) []string {
	var out []string
	for _, p := range products {
		if kindOf(p) == kind {
			out = append(out, p.ID)
		}
	}
	return out
}

func kindMessage(k programme.Product) *schedulingv1.Kind {
	return &schedulingv1.Kind{Species: k.Species, PickStage: pickStages.enum[k.Stage]}
}
