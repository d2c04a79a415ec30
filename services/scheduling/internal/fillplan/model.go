package fillplan

import (
	"cmp"
	"slices"
)

// Format is the name of the instance format this package reads.
const Format = "fillplan-1"

// Product is something sold, with what a kilogram too few or too many costs.
type Product struct {
	ID string
	// ShortCents is the cost of a kilogram of unmet demand, in cents, at least 0.
	ShortCents int64
	// OverCents is the cost of a kilogram nobody ordered, in cents, at least 0.
	OverCents int64
}

// Programme is a way of growing one crop, from fill to empty room.
type Programme struct {
	ID string
	// Weeks is how long a fill occupies its room, at least 1.
	Weeks int
	// CompostKg is the compost of one fill, in kilograms per square metre.
	CompostKg int64
	// CostCents is the cost of one whole fill, in cents per square metre.
	CostCents int64
	// YieldGrams holds, for each week of the fill (0 is the fill week) and each
	// product, grams per square metre.
	YieldGrams [][]int64
}

// Room is a growing room.
type Room struct {
	ID string
	// Farm is an index into Instance.Farms.
	Farm int
	// Area is the growing area in square metres, at least 1.
	Area int64
	// Programmes are the indices of the programmes the room may be filled with,
	// ascending.
	Programmes []int
	// Free is the first week in which the room may be filled.
	Free int
}

// Instance is one fill-planning problem. Rooms, programmes, products and farms
// are referred to by index.
type Instance struct {
	Name       string
	Weeks      int
	Products   []Product
	Programmes []Programme
	Farms      []string
	Rooms      []Room
	// YardKg is the compost the yards can deliver in each week, in kilograms.
	YardKg []int64
	// SupplyGrams is what running crops will yield, by product and week.
	SupplyGrams [][]int64
	// DemandGrams is what customers want, by product and week.
	DemandGrams [][]int64
}

// Fill puts a programme into a room in a week.
type Fill struct {
	Room, Programme, Week int
}

// Plan is a set of fills for the instance it names.
type Plan struct {
	Instance string
	// Fills are in canonical order, by room, then week, when this package
	// returns them; on input their order has no meaning.
	Fills []Fill
}

// Canonical returns the plan with its fills by room, then week.
func (p Plan) Canonical() Plan {
	fills := slices.Clone(p.Fills)
	slices.SortFunc(fills, func(a, b Fill) int {
		return cmp.Or(cmp.Compare(a.Room, b.Room), cmp.Compare(a.Week, b.Week), cmp.Compare(a.Programme, b.Programme))
	})
	return Plan{Instance: p.Instance, Fills: fills}
}

// Before reports whether a comes before b by the tie rule of the format: the
// fills of each as (week, room, programme) in ascending order, compared
// lexicographically.
func Before(a, b []Fill) bool {
	return slices.CompareFunc(byWeek(a), byWeek(b), compareByWeek) < 0
}

func byWeek(fills []Fill) []Fill {
	sorted := slices.Clone(fills)
	slices.SortFunc(sorted, compareByWeek)
	return sorted
}

func compareByWeek(a, b Fill) int {
	return cmp.Or(cmp.Compare(a.Week, b.Week), cmp.Compare(a.Room, b.Room), cmp.Compare(a.Programme, b.Programme))
}
