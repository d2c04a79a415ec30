package match_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/match"
)

// size bounds a drawn day.
type size struct{ products, lots, lines, packs int }

var usual = size{products: 4, lots: 12, lines: 14, packs: 30}

// drawDay makes a day up, with few different figures, so that ties are common.
func drawDay(t *rapid.T, s size) match.Day {
	d := match.Day{Number: 20000}
	for i := range rapid.IntRange(1, s.products).Draw(t, "products") {
		d.Products = append(d.Products, match.Product{ID: fmt.Sprint("product-", i), Name: fmt.Sprint("Product ", i), ShelfLife: rapid.IntRange(0, 2).Draw(t, "shelf life")})
	}
	product := rapid.Custom(func(t *rapid.T) string {
		return d.Products[rapid.IntRange(0, len(d.Products)-1).Draw(t, "product")].ID
	})
	for i := range rapid.IntRange(0, s.lots).Draw(t, "lots") {
		farm := rapid.SampledFrom([]string{"alder", "birch", "cedar"}).Draw(t, "farm")
		d.Lots = append(d.Lots, match.Lot{
			ID: fmt.Sprintf("lot-%02d", i), Farm: farm, Room: farm + "-1", Product: product.Draw(t, "of"),
			PickDay: d.Number - rapid.IntRange(0, 3).Draw(t, "age"), Packs: int64(rapid.IntRange(0, s.packs).Draw(t, "packs")),
			Held:  rapid.IntRange(0, 9).Draw(t, "held") == 0,
			Carry: match.Carry{Known: rapid.Bool().Draw(t, "known"), Milli: int64(rapid.IntRange(0, 3).Draw(t, "carry"))},
		})
	}
	wanted := make(map[string]bool)
	for range rapid.IntRange(0, s.lines).Draw(t, "lines") {
		l := match.Line{
			Order: fmt.Sprint("order-", rapid.IntRange(0, s.lines).Draw(t, "order")), Product: product.Draw(t, "wants"),
			Class: rapid.IntRange(1, 3).Draw(t, "class"), Packs: int64(rapid.IntRange(1, max(1, s.packs)).Draw(t, "wanted")),
			Value: int64(rapid.IntRange(0, 4).Draw(t, "value")),
		}
		l.Customer = "kitchen of " + l.Order
		if key := l.Order + "/" + l.Product; !wanted[key] {
			wanted[key] = true
			d.Lines = append(d.Lines, l)
		}
	}
	return d
}

// drawWishes adds substitutes, wishes about farms, zones and forbidden pairs to a day.
func drawWishes(t *rapid.T, d match.Day, reluctance int64) match.Day {
	farms := []string{"alder", "birch", "cedar"}
	for i := range d.Products {
		d.Products[i].Grams = int64(rapid.IntRange(0, 2).Draw(t, "grams"))
	}
	for i := range d.Lines {
		l := &d.Lines[i]
		for _, p := range d.Products {
			if p.ID != l.Product && rapid.Bool().Draw(t, "takes instead") {
				l.Instead = append(l.Instead, match.Instead{Product: p.ID, Reluctance: rapid.Int64Range(0, reluctance).Draw(t, "reluctance")})
			}
		}
		if rapid.IntRange(0, 2).Draw(t, "not from") == 0 {
			l.NotFrom = []string{rapid.SampledFrom(farms).Draw(t, "farm")}
		}
		if rapid.IntRange(0, 4).Draw(t, "only from") == 0 {
			l.OnlyFrom = rapid.SampledFrom(farms).Draw(t, "farm")
		}
		l.Zone = rapid.SampledFrom([]string{"", "hill", "quay"}).Draw(t, "zone")
		l.OneFarm = rapid.Bool().Draw(t, "one farm")
		if len(d.Lots) > 0 && rapid.IntRange(0, 3).Draw(t, "forbid") == 0 {
			lot := rapid.SampledFrom(d.Lots).Draw(t, "lot").ID
			d.Pins = append(d.Pins, match.Pin{ID: fmt.Sprint("pin-", i), Kind: match.PinForbid, Order: l.Order, Product: l.Product, Lot: lot})
		}
	}
	for _, zone := range []string{"hill", "quay"} {
		for _, farm := range farms {
			if rapid.Bool().Draw(t, "zone cost") {
				d.ZoneCosts = append(d.ZoneCosts, match.ZoneCost{Farm: farm, Zone: zone, MinorPerKg: rapid.Int64Range(0, 3).Draw(t, "cost")})
			}
		}
	}
	return d
}

func run(t rapid.TB, d match.Day) match.Match {
	t.Helper()
	m, err := match.Run(context.Background(), d, nil)
	if err != nil {
		t.Fatalf("Run: %v", err)
	}
	return m
}

func TestPacksAreConserved(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawDay(t, usual)
		m := run(t, d)
		if !m.Proof.Verified {
			t.Fatal("a match without proof")
		}
		used, got := make(map[string]int64), make(map[string]int64)
		for _, a := range m.Allocations {
			if a.Packs < 1 {
				t.Fatalf("an allocation of %d packs: %+v", a.Packs, a)
			}
			used[a.Lot] += a.Packs
			got[a.Order+"/"+a.Product] += a.Packs
		}
		for _, l := range d.Lots {
			if used[l.ID] > available(d, l) {
				t.Fatalf("lot %s gives %d of %d", l.ID, used[l.ID], available(d, l))
			}
			delete(used, l.ID)
		}
		if len(used) > 0 {
			t.Fatalf("lots from nowhere: %v", used)
		}
		checkLines(t, d, m, got)
		checkSums(t, d, m)
	})
}

// checkLines compares the lines with the allocations and the orders.
func checkLines(t *rapid.T, d match.Day, m match.Match, got map[string]int64) {
	if len(m.Lines) != len(d.Lines) {
		t.Fatalf("%d lines of %d", len(m.Lines), len(d.Lines))
	}
	for _, l := range m.Lines {
		if key := l.Order + "/" + l.Product; got[key] != l.Matched || l.Matched > l.Packs {
			t.Fatalf("line %s: %d allocated, %d matched, %d ordered", key, got[key], l.Matched, l.Packs)
		}
		short := l.Matched < l.Packs
		if short != (l.Reason != match.NotShort) || short != (l.Explanation != "") {
			t.Fatalf("line %+v: a reason exactly where it is short", l)
		}
	}
}

// checkSums compares the sums with the day; no product has both packs left and demand unmet.
func checkSums(t *rapid.T, d match.Day, m match.Match) {
	var offered, ordered, matched, farms, farmMatched, allocated int64
	for _, p := range m.Products {
		if p.Matched != min(p.Offered, p.Ordered) {
			t.Fatalf("%+v: matched must be the smaller of offered and ordered", p)
		}
		offered, ordered, matched = offered+p.Offered, ordered+p.Ordered, matched+p.Matched
	}
	for _, f := range m.Farms {
		farms, farmMatched = farms+f.Offered, farmMatched+f.Matched
	}
	for _, a := range m.Allocations {
		allocated += a.Packs
	}
	var supply, demand int64
	for _, l := range d.Lots {
		supply += available(d, l)
	}
	for _, l := range d.Lines {
		demand += l.Packs
	}
	got := []int64{offered, farms, ordered, matched, farmMatched}
	if diff := cmp.Diff([]int64{supply, supply, demand, allocated, allocated}, got); diff != "" {
		t.Fatalf("offered twice, ordered, matched twice (-want +got):\n%s", diff)
	}
}

func TestOrderOfInputMakesNoDifference(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawDay(t, usual)
		if rapid.Bool().Draw(t, "wishes") {
			d = drawWishes(t, d, 3)
		}
		first := run(t, d)
		shuffled := d
		shuffled.Products, shuffled.Lots = rapid.Permutation(d.Products).Draw(t, "products"), rapid.Permutation(d.Lots).Draw(t, "lots")
		shuffled.Lines, shuffled.Pins = rapid.Permutation(d.Lines).Draw(t, "lines"), rapid.Permutation(d.Pins).Draw(t, "pins")
		shuffled.ZoneCosts = rapid.Permutation(d.ZoneCosts).Draw(t, "zone costs")
		if diff := cmp.Diff(first, run(t, shuffled), cmpopts.IgnoreFields(match.Proof{}, "Solving")); diff != "" {
			t.Fatalf("(-first +shuffled):\n%s", diff)
		}
	})
}

func TestMoreSupplyNeverLowersTheValueMet(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawDay(t, usual)
		if len(d.Lots) == 0 {
			return
		}
		before := valueOf(d, run(t, d))
		more := slices.Clone(d.Lots)
		more[rapid.IntRange(0, len(more)-1).Draw(t, "lot")].Packs += int64(rapid.IntRange(1, 20).Draw(t, "more"))
		d.Lots = more
		if after := valueOf(d, run(t, d)); slices.Compare(after, before) < 0 {
			t.Fatalf("value by class fell from %v to %v", before, after)
		}
	})
}

func TestNobodyIsServedBeforeAHigherClass(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m := run(t, drawDay(t, usual))
		for _, high := range m.Lines {
			for _, low := range m.Lines {
				if high.Product == low.Product && high.Class < low.Class && high.Matched < high.Packs && low.Matched > 0 {
					t.Fatalf("%+v is short while %+v is served", high, low)
				}
			}
		}
	})
}

func TestOldStockGoesFirst(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawDay(t, usual)
		used := make(map[string]int64)
		for _, a := range run(t, d).Allocations {
			used[a.Lot] += a.Packs
		}
		for _, old := range d.Lots {
			for _, young := range d.Lots {
				if old.Product == young.Product && old.PickDay < young.PickDay && used[old.ID] < available(d, old) && used[young.ID] > 0 {
					t.Fatalf("lot %s of day %d is left while %s of day %d is used", old.ID, old.PickDay, young.ID, young.PickDay)
				}
			}
		}
	})
}

func TestFewSplits(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m := run(t, drawDay(t, usual))
		pairs, ends := make(map[string]int), make(map[string]map[string]bool)
		for _, a := range m.Allocations {
			pairs[a.Product]++
			if ends[a.Product] == nil {
				ends[a.Product] = make(map[string]bool)
			}
			ends[a.Product]["lot "+a.Lot], ends[a.Product]["order "+a.Order] = true, true
		}
		for product, n := range pairs {
			if n > len(ends[product])-1 {
				t.Fatalf("%s: %d allocations between %d lots and lines", product, n, len(ends[product]))
			}
		}
	})
}

// A second run, after a part of the first has left, must keep that part and lose nothing.
func TestWhatLeftStays(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawDay(t, usual)
		first := run(t, d)
		before := valueOf(d, first)
		for _, a := range first.Allocations {
			if n := rapid.Int64Range(0, a.Packs).Draw(t, "left"); n > 0 {
				d.Sent = append(d.Sent, match.Sent{Order: a.Order, Product: a.Product, Lot: a.Lot, Packs: n})
			}
		}
		second := run(t, d)
		have := make(map[match.Sent]int64)
		for _, a := range second.Allocations {
			have[match.Sent{Order: a.Order, Product: a.Product, Lot: a.Lot}] += a.Packs
		}
		for _, s := range d.Sent {
			if n := have[match.Sent{Order: s.Order, Product: s.Product, Lot: s.Lot}]; n < s.Packs {
				t.Fatalf("%d packs left from %s for %s, the match has %d", s.Packs, s.Lot, s.Order, n)
			}
		}
		if after := valueOf(d, second); slices.Compare(after, before) != 0 {
			t.Fatalf("value by class was %v and is %v", before, after)
		}
		checkSums(t, d, second)
	})
}

// Whatever the figures, a day is either matched or refused with a typed error.
func FuzzRun(f *testing.F) {
	f.Add(int64(10), int64(8), int64(500), 1, 20000, 19999, true)
	f.Add(int64(-1), int64(8), int64(500), 1, 20000, 19999, true)
	f.Add(int64(1)<<40, int64(1)<<40, int64(1)<<40, 9, 20000, 20000, false)
	f.Add(int64(3), int64(0), int64(-5), 10, -1, 1<<40, false)
	f.Fuzz(func(t *testing.T, offered, wanted, value int64, class, day, pickDay int, known bool) {
		d := match.Day{
			Number: day, Products: []match.Product{{ID: "p", ShelfLife: 4}},
			Lots:  []match.Lot{{ID: "a", Farm: "f", Product: "p", PickDay: pickDay, Packs: offered, Carry: match.Carry{Known: known, Milli: value}}},
			Lines: []match.Line{{Order: "o", Customer: "c", Product: "p", Class: class, Packs: wanted, Value: value}},
		}
		m, err := match.Run(t.Context(), d, nil)
		var problem *match.Problem
		var large *match.TooLarge
		if err != nil {
			if !errors.As(err, &problem) && !errors.As(err, &large) {
				t.Fatalf("an error that tells the caller nothing: %v", err)
			}
			return
		}
		if want := min(available(d, d.Lots[0]), wanted); m.Lines[0].Matched != want || !m.Proof.Verified {
			t.Fatalf("matched %d, want %d, proof %+v", m.Lines[0].Matched, want, m.Proof)
		}
	})
}
