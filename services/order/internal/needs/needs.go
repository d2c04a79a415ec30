// Package needs sums up by week what crops need of spawn and casing.
//
// Spawn is alive and keeps for weeks only, and a pallet of it costs less by the kilogram than a
// box: what the farms of a co-op need of one strain in one week is looked at together, and by farm.
// Casing is looked at in the same way.
//
// Days are counted from 1970-01-01.
package needs

import (
	"cmp"
	"slices"
)

// Kind is what is needed.
type Kind uint8

// The kinds, in the order in which they are listed.
const (
	Spawn Kind = iota
	Casing
)

// Need is what one crop needs of one thing.
type Need struct {
	Crop, Room, Farm string
	Kind             Kind
	// Species and Strain of spawn; empty for casing.
	Species, Strain string
	// Day on which it is needed.
	Day int
	// Grams, above 0.
	Grams int64
}

// Sum is what is needed of one thing in one week.
type Sum struct {
	// Monday of the week.
	Monday int
	// Farm is empty where the farms are put together.
	Farm            string
	Kind            Kind
	Species, Strain string
	Grams           int64
	// First day on which some of it is needed.
	First int
	// Needs of the crops, by day and crop.
	Needs []Need
}

// Monday is the first day of the week of a day, as ISO 8601 counts weeks. Day 0, 1970-01-01, was a
// Thursday.
func Monday(day int) int { return day - ((day+3)%7+7)%7 }

// ByWeek sums needs by week, kind, species, strain and farm, in this order; pooled puts all farms
// together. The order in which they come is of no matter.
func ByWeek(all []Need, pooled bool) []Sum {
	type key struct {
		monday                int
		kind                  Kind
		species, strain, farm string
	}
	sums := make(map[key]*Sum)
	for _, n := range all {
		k := key{Monday(n.Day), n.Kind, n.Species, n.Strain, n.Farm}
		if pooled {
			k.farm = ""
		}
		s := sums[k]
		if s == nil {
			s = &Sum{Monday: k.monday, Farm: k.farm, Kind: k.kind, Species: k.species, Strain: k.strain, First: n.Day}
			sums[k] = s
		}
		s.Grams += n.Grams
		s.First = min(s.First, n.Day)
		s.Needs = append(s.Needs, n)
	}
	out := make([]Sum, 0, len(sums))
	for _, s := range sums {
		slices.SortFunc(s.Needs, func(a, b Need) int { return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Crop, b.Crop)) })
		out = append(out, *s)
	}
	slices.SortFunc(out, func(a, b Sum) int {
		return cmp.Or(cmp.Compare(a.Monday, b.Monday), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Species, b.Species),
			cmp.Compare(a.Strain, b.Strain), cmp.Compare(a.Farm, b.Farm))
	})
	return out
}
