package match_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/match"
)

// merit is what a match is worth, straight from the statement of the aims, with no ranks and no
// network: the first entries decide. Larger is better.
type merit []int64

// meritOf weighs what each line got and each lot gave.
func meritOf(d match.Day, met map[string]int64, sold map[string]int64) merit {
	var value [10]int64
	for _, l := range d.Lines {
		value[l.Class] += max(1, l.Value) * met[l.Order+"/"+l.Product]
	}
	m := merit(slices.Clone(value[1:]))
	byDay := make(map[int]int64)
	days, dearest := []int{}, int64(0)
	for _, l := range d.Lots {
		if !slices.Contains(days, l.PickDay) {
			days = append(days, l.PickDay)
		}
		dearest = max(dearest, l.Carry.Milli)
		byDay[l.PickDay] += sold[l.ID]
	}
	slices.Sort(days)
	for _, day := range days {
		m = append(m, byDay[day])
	}
	carry := int64(0)
	for _, l := range d.Lots {
		cost := l.Carry.Milli
		if !l.Carry.Known {
			cost = dearest + 1
		}
		carry -= cost * sold[l.ID]
	}
	return append(m, carry)
}

// best tries every way in which each line could get, and each lot give, some packs, and returns
// the best merit. Within a product it is enough that both sides add up to the same.
func best(d match.Day) merit {
	var found merit
	met, sold := make(map[string]int64), make(map[string]int64)
	var lot func(i int, balance map[string]int64)
	lot = func(i int, balance map[string]int64) {
		if i == len(d.Lots) {
			for _, open := range balance {
				if open != 0 {
					return
				}
			}
			if m := meritOf(d, met, sold); found == nil || slices.Compare(m, found) > 0 {
				found = m
			}
			return
		}
		l := d.Lots[i]
		for n := int64(0); n <= min(available(d, l), balance[l.Product]); n++ {
			sold[l.ID] = n
			balance[l.Product] -= n
			lot(i+1, balance)
			balance[l.Product] += n
		}
	}
	var line func(j int, balance map[string]int64)
	line = func(j int, balance map[string]int64) {
		if j == len(d.Lines) {
			lot(0, balance)
			return
		}
		l := d.Lines[j]
		for n := int64(0); n <= l.Packs; n++ {
			met[l.Order+"/"+l.Product] = n
			balance[l.Product] += n
			line(j+1, balance)
			balance[l.Product] -= n
		}
	}
	line(0, make(map[string]int64))
	return found
}

// available is what a lot may give.
func available(d match.Day, l match.Lot) int64 {
	for _, p := range d.Products {
		if p.ID == l.Product && (l.Held || d.Number-l.PickDay > p.ShelfLife) {
			return 0
		}
	}
	return l.Packs
}

// reached is the merit of what Run returned.
func reached(d match.Day, m match.Match) merit {
	met, sold := make(map[string]int64), make(map[string]int64)
	for _, a := range m.Allocations {
		met[a.Order+"/"+a.Product] += a.Packs
		sold[a.Lot] += a.Packs
	}
	return meritOf(d, met, sold)
}

func TestNoOtherWayIsBetter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawDay(t, size{products: 2, lots: 3, lines: 3, packs: 3})
		if got, want := reached(d, run(t, d)), best(d); slices.Compare(got, want) != 0 {
			t.Fatalf("reached %v, the best of all ways is %v", got, want)
		}
	})
}
