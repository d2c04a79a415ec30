package match_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/match"
)

// matched has what each customer got.
func matched(m match.Match) map[string]int64 {
	got := make(map[string]int64)
	for _, l := range m.Lines {
		got[l.Customer] += l.Matched
	}
	return got
}

// Max-min fair shares, weighted and not: S. Keshav, An Engineering Approach to Computer
// Networking, 1997, pages 215 to 217. Here a unit is a thousand packs, so that fractions show.
func TestPublishedMaxMinShares(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name             string
		offered          int64
		demands, weights []int64
		want             map[string]int64
	}{
		{"equal", 10000, []int64{2000, 2600, 4000, 5000}, []int64{1, 1, 1, 1}, map[string]int64{"c0": 2000, "c1": 2600, "c2": 2700, "c3": 2700}},
		{"weighted", 16000, []int64{4000, 2000, 10000, 4000}, []int64{25, 40, 5, 10}, map[string]int64{"c0": 4000, "c1": 2000, "c2": 6000, "c3": 4000}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d := dayOf([]match.Lot{lot("a", "alder", today, c.offered)})
			for i, packs := range c.demands {
				l := line(fmt.Sprint("o", i), 2, packs)
				l.Customer, l.Weight = fmt.Sprint("c", i), c.weights[i]
				d.Lines = append(d.Lines, l)
			}
			m := run(t, d)
			if diff := cmp.Diff(c.want, matched(m)); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

func TestRulesOfSharing(t *testing.T) {
	t.Parallel()
	small, large := line("small", 2, 10), line("large", 2, 30)
	lots := []match.Lot{lot("a", "alder", today, 60), lot("b", "birch", today, 20)}
	cases := []struct {
		name string
		day  match.Day
		want map[string]int64 // by customer and farm
	}{
		{"short by ordered", match.Day{Lots: []match.Lot{lot("a", "alder", today, 20)}, Lines: []match.Line{small, large}, Rules: match.Rules{Short: match.ShortByOrdered}}, map[string]int64{"kitchen-small": 5, "kitchen-large": 15}},
		{"short by weight", match.Day{Lots: []match.Lot{lot("a", "alder", today, 20)}, Lines: []match.Line{small, large}}, map[string]int64{"kitchen-small": 10, "kitchen-large": 10}},
		{"left by offer", match.Day{Lots: lots, Lines: []match.Line{line("o", 1, 40)}}, map[string]int64{"alder": 30, "birch": 10}},
		{
			"left by shares", match.Day{Lots: lots, Lines: []match.Line{line("o", 1, 30)}, Rules: match.Rules{Left: match.LeftByShares}, Farms: []match.Farm{{ID: "alder", Shares: 50}, {ID: "birch", Shares: 100}}},
			map[string]int64{"alder": 10, "birch": 20},
		},
		{"the season tilts", match.Day{Lots: lots, Lines: []match.Line{line("o", 1, 40)}, Farms: []match.Farm{{ID: "alder", Ahead: 8}}}, map[string]int64{"alder": 28, "birch": 12}},
		{"one who is ahead waits", match.Day{Lots: lots, Lines: []match.Line{line("o", 1, 20)}, Farms: []match.Farm{{ID: "alder", Ahead: 1000}}}, map[string]int64{"birch": 20}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.day.Number, c.day.Products = today, []match.Product{closed}
			m, got := run(t, c.day), make(map[string]int64)
			for _, a := range m.Allocations {
				got[a.Customer] += a.Packs
				got[a.Farm] += a.Packs
			}
			for who, want := range c.want {
				if got[who] != want {
					t.Errorf("%s has %d, want %d", who, got[who], want)
				}
			}
		})
	}
}

// However the co-op shares, each class gets the value that it would get if nobody shared.
func TestFairnessNeverLowersTheValueMet(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawWishes(t, drawDay(t, usual), 3)
		fair := d
		fair.Rules = match.Rules{
			Short: match.ShortRule(rapid.IntRange(0, 1).Draw(t, "short")), Left: match.LeftRule(rapid.IntRange(0, 1).Draw(t, "left")),
		}
		d.Rules = match.Rules{Short: match.ShortInTurn, Left: match.LeftByCarry}
		if with, without := valueOf(d, run(t, fair)), valueOf(d, run(t, d)); slices.Compare(with, without) != 0 {
			t.Fatalf("value by class is %v with fair shares and %v without", with, without)
		}
	})
}

// Where steps of several packs are refined, the answer is the same as water poured in.
func TestLargeSharesAreExact(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := dayOf([]match.Lot{lot("a", "alder", today, rapid.Int64Range(1, 5000).Draw(t, "offered"))})
		var demands []int64
		for i := range rapid.IntRange(2, 6).Draw(t, "lines") {
			l := line(fmt.Sprint("o", i), 1, rapid.Int64Range(1, 2000).Draw(t, "wanted"))
			d.Lines, demands = append(d.Lines, l), append(demands, l.Packs)
		}
		var got []int64
		for _, l := range run(t, d).Lines {
			got = append(got, l.Matched)
		}
		if want := poured(demands, d.Lots[0].Packs); !slices.Equal(got, want) {
			t.Fatalf("%v packs of %v, want %v", got, demands, want)
		}
	})
}

// poured gives a pack after another to the first of those who have least and want more.
func poured(demands []int64, packs int64) []int64 {
	got := make([]int64, len(demands))
	for ; packs > 0; packs-- {
		least := -1
		for i := range got {
			if got[i] < demands[i] && (least < 0 || got[i] < got[least]) {
				least = i
			}
		}
		if least < 0 {
			break
		}
		got[least]++
	}
	return got
}

// More supply never lowers the value met, whatever the wishes.
func TestMoreSupplyWithWishesNeverLowersTheValueMet(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawWishes(t, drawDay(t, usual), 3)
		if len(d.Lots) == 0 {
			return
		}
		before := run(t, d)
		more := d
		more.Lots = slices.Clone(d.Lots)
		i := rapid.IntRange(0, len(d.Lots)-1).Draw(t, "lot")
		more.Lots[i].Packs++
		after := run(t, more)
		if slices.Compare(valueOf(more, after), valueOf(d, before)) < 0 {
			t.Fatalf("value by class fell from %v to %v", valueOf(d, before), valueOf(more, after))
		}
	})
}

// No pack goes where a wish or a pin forbids it, and all sums add up.
func TestNoWishIsBroken(t *testing.T) {
	t.Parallel()
	rapid.Check(t, noWishIsBroken)
}

// The same, the day being made up from the bytes of a fuzzer.
func FuzzNoWishIsBroken(f *testing.F) {
	f.Add([]byte("a day of a few lots and lines"))
	f.Add([]byte{0xff, 0x7f, 0x03, 0x00, 0xff, 0xff, 0x01, 0x10, 0x80, 0x20, 0x00, 0x00, 0x07, 0x55, 0xaa, 0x0f, 0xf0, 0x33})
	f.Fuzz(rapid.MakeFuzz(noWishIsBroken))
}

func noWishIsBroken(t *rapid.T) {
	d := drawWishes(t, drawDay(t, usual), 3)
	for i := range d.Lines {
		d.Lines[i].Least = rapid.Int64Range(0, d.Lines[i].Packs).Draw(t, "least")
	}
	m := run(t, d)
	w := weigher{d: d}
	used := make(map[string]int64)
	for _, a := range m.Allocations {
		used[a.Lot] += a.Packs
		lot := d.Lots[slices.IndexFunc(d.Lots, func(l match.Lot) bool { return l.ID == a.Lot })]
		l := d.Lines[slices.IndexFunc(d.Lines, func(l match.Line) bool { return l.Order == a.Order && l.Product == a.Product })]
		if !w.may(lot, l) || available(d, lot) < used[a.Lot] {
			t.Fatalf("%+v may not be", a)
		}
	}
	short := false
	for _, l := range m.Lines {
		if l.Matched > l.Packs || (l.Matched > 0 && l.Matched < l.Least) {
			t.Fatalf("%d packs of %d with %d the least", l.Matched, l.Packs, l.Least)
		}
		if short = l.Matched < l.Packs; short != (l.Explanation != "") || short != (len(l.Binds) > 0) {
			t.Fatalf("%+v: words exactly where it is short", l)
		}
	}
	for class, gap := range m.Proof.Gap {
		if gap < 0 && !slices.ContainsFunc(m.Proof.Gap[:class], func(g int64) bool { return g > 0 }) {
			t.Fatalf("gaps %v: better than the bound", m.Proof.Gap)
		}
	}
}
