package match_test

import (
	"cmp"
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/match"
)

// way is how many packs of each lot go to each line.
type way [][]int64

// merit is what a way is worth, straight from the statement of the aims, with no network: the
// first entries decide. Larger is better.
type merit []int64

// weigher weighs ways of a day.
type weigher struct {
	d    match.Day
	fair bool
}

func (w weigher) product(id string) match.Product {
	return w.d.Products[slices.IndexFunc(w.d.Products, func(p match.Product) bool { return p.ID == id })]
}

// minds is what a line minds about a product; ok is false where it does not take it.
func minds(l match.Line, product string) (minor int64, ok bool) {
	if l.Product == product {
		return 0, true
	}
	for _, t := range l.Instead {
		if t.Product == product && t.Reluctance < max(1, l.Value) {
			return t.Reluctance, true
		}
	}
	return 0, false
}

// may says whether packs of a lot may go to a line.
func (w weigher) may(lot match.Lot, l match.Line) bool {
	_, takes := minds(l, lot.Product)
	for _, p := range w.d.Pins {
		if p.Kind == match.PinForbid && p.Order == l.Order && p.Product == l.Product && (p.Lot == lot.ID || p.Farm == lot.Farm) {
			return false
		}
	}
	return takes && !slices.Contains(l.NotFrom, lot.Farm) && (l.OnlyFrom == "" || l.OnlyFrom == lot.Farm)
}

// weigh is the merit of a way: value by class; each class's packs by customer and product, least
// first; the age of what is sold; what it costs to carry.
func (w weigher) weigh(x way) merit {
	var value [10]int64
	shares := make([]map[string]int64, 10)
	days := []int{}
	dearest, age, carry := int64(0), int64(0), int64(0)
	for _, lot := range w.d.Lots {
		if !slices.Contains(days, lot.PickDay) && available(w.d, lot) > 0 {
			days = append(days, lot.PickDay)
		}
		if available(w.d, lot) > 0 {
			dearest = max(dearest, lot.Carry.Milli)
		}
	}
	slices.SortFunc(days, func(a, b int) int { return cmp.Compare(b, a) })
	for j, l := range w.d.Lines {
		class := l.Class
		if shares[class] == nil {
			shares[class] = make(map[string]int64)
		}
		for i, lot := range w.d.Lots {
			packs := x[i][j]
			reluctance, _ := minds(l, lot.Product)
			value[class] += packs * (max(1, l.Value) - reluctance)
			shares[class][fmt.Sprint(l.Customer, l.Product)] += packs
			age += packs * int64(slices.Index(days, lot.PickDay))
			carry += packs * w.cost(lot, l, dearest)
		}
	}
	m := merit(slices.Clone(value[1:]))
	for _, by := range shares {
		if w.fair {
			var all []int64
			for _, packs := range by {
				all = append(all, packs)
			}
			m = append(m, slices.Sorted(slices.Values(all))...)
		}
	}
	return append(m, age, -carry)
}

// cost of carrying a pack of a lot to a line.
func (w weigher) cost(lot match.Lot, l match.Line, dearest int64) int64 {
	for _, z := range w.d.ZoneCosts {
		if z.Farm == lot.Farm && z.Zone == l.Zone {
			return z.MinorPerKg * w.product(lot.Product).Grams
		}
	}
	if !lot.Carry.Known {
		return dearest + 1
	}
	return lot.Carry.Milli
}

// best tries every way and returns the best merit.
func (w weigher) best() merit {
	x := make(way, len(w.d.Lots))
	for i := range x {
		x[i] = make([]int64, len(w.d.Lines))
	}
	var found merit
	var try func(i, j int, left int64)
	try = func(i, j int, left int64) {
		switch {
		case i == len(w.d.Lots):
			if m := w.weigh(x); found == nil || slices.Compare(m, found) > 0 {
				found = m
			}
			return
		case j == len(w.d.Lines):
			next := int64(0)
			if i+1 < len(w.d.Lots) {
				next = available(w.d, w.d.Lots[i+1])
			}
			try(i+1, 0, next)
			return
		}
		got := int64(0)
		for k := range i {
			got += x[k][j]
		}
		most := min(left, w.d.Lines[j].Packs-got)
		if !w.may(w.d.Lots[i], w.d.Lines[j]) {
			most = 0
		}
		for n := int64(0); n <= most; n++ {
			x[i][j] = n
			try(i, j+1, left-n)
		}
		x[i][j] = 0
	}
	first := int64(0)
	if len(w.d.Lots) > 0 {
		first = available(w.d, w.d.Lots[0])
	}
	try(0, 0, first)
	return found
}

// reached is the merit of what Run returned.
func (w weigher) reached(m match.Match) merit {
	x := make(way, len(w.d.Lots))
	for i, lot := range w.d.Lots {
		x[i] = make([]int64, len(w.d.Lines))
		for j, l := range w.d.Lines {
			for _, a := range m.Allocations {
				if a.Lot == lot.ID && a.Order == l.Order && a.Product == l.Product {
					x[i][j] += a.Packs
				}
			}
		}
	}
	return w.weigh(x)
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

// valueOf is the value met by class.
func valueOf(d match.Day, m match.Match) merit { return weigher{d: d}.reached(m)[:9] }

var tiny = size{products: 2, lots: 3, lines: 3, packs: 2}

func TestNoOtherWayIsBetter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawDay(t, tiny)
		d.Rules.Left = match.LeftByCarry
		w := weigher{d: d, fair: true}
		if rapid.Bool().Draw(t, "in turn") {
			w.d.Rules.Short, w.fair = match.ShortInTurn, false
		}
		if got, want := w.reached(run(t, w.d)), w.best(); slices.Compare(got, want) != 0 {
			t.Fatalf("reached %v, the best of all ways is %v", got, want)
		}
	})
}

// With substitutes, wishes about farms, zones and forbidden pairs.
func TestNoOtherWayIsBetterWithWishes(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawWishes(t, drawDay(t, tiny), 3)
		d.Rules = match.Rules{Short: match.ShortInTurn, Left: match.LeftByCarry}
		w := weigher{d: d}
		if got, want := w.reached(run(t, d)), w.best(); slices.Compare(got, want) != 0 {
			t.Fatalf("reached %v, the best of all ways is %v", got, want)
		}
	})
}

// With substitutes that nobody minds, shares within a class are the fairest there are.
func TestNobodyCouldBeBetterOffWithoutSomebodyPoorer(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawWishes(t, drawDay(t, tiny), 0)
		d.Rules.Left = match.LeftByCarry
		for i := range d.Lines {
			d.Lines[i].Class, d.Lines[i].Value = 1, 3
		}
		w := weigher{d: d, fair: true}
		if got, want := w.reached(run(t, d)), w.best(); slices.Compare(got, want) != 0 {
			t.Fatalf("reached %v, the best of all ways is %v", got, want)
		}
	})
}
