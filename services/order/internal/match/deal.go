package match

import (
	"cmp"
	"slices"
)

// deal gives the packs that flow through each pool, by arc, to its lines in turn; see the package comment.
func (n network) deal(packs []int64) []Allocation {
	sold := make(map[string][]Lot)
	for i, l := range n.lots {
		if l.Packs = packs[i]; l.Packs > 0 {
			sold[l.Product] = append(sold[l.Product], l)
		}
	}
	for _, lots := range sold {
		slices.SortFunc(lots, byRoom)
	}
	var all []Allocation
	for j, line := range n.lines {
		if n.in[j] < 0 {
			continue
		}
		want, lots := packs[n.in[j]], sold[line.Product]
		for ; want > 0; lots = lots[1:] {
			lot := lots[0]
			some := min(want, lot.Packs)
			all = append(all, Allocation{
				Order: line.Order, Customer: line.Customer, Product: line.Product,
				Lot: lot.ID, Farm: lot.Farm, Room: lot.Room, Packs: some,
			})
			want -= some
			if lots[0].Packs -= some; lots[0].Packs > 0 {
				break
			}
		}
		sold[line.Product] = lots
	}
	return all
}

func byRoom(a, b Lot) int {
	return cmp.Or(cmp.Compare(a.Farm, b.Farm), cmp.Compare(a.Room, b.Room), cmp.Compare(a.PickDay, b.PickDay), cmp.Compare(a.ID, b.ID))
}

func byFarm(a, b Allocation) int {
	return cmp.Or(cmp.Compare(a.Farm, b.Farm), cmp.Compare(a.Customer, b.Customer), cmp.Compare(a.Product, b.Product),
		cmp.Compare(a.Lot, b.Lot), cmp.Compare(a.Order, b.Order))
}

// merge sorts allocations and adds up those of the same lot and line.
func merge(all []Allocation) []Allocation {
	slices.SortFunc(all, byFarm)
	merged := all[:0]
	for _, a := range all {
		if last := len(merged) - 1; last >= 0 && byFarm(merged[last], a) == 0 {
			merged[last].Packs += a.Packs
			continue
		}
		merged = append(merged, a)
	}
	return merged
}
