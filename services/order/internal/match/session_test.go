package match_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/match"
)

// A session gives matches as good as a run from nothing, and moves as few packs.
func TestSessionIsAsGoodAsRun(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawWishes(t, drawDay(t, usual), 2)
		d = withKept(d, run(t, d))
		var session match.Session
		for range 3 {
			warm, err := session.Run(t.Context(), d, nil)
			if err != nil {
				t.Fatal(err)
			}
			cold := run(t, d)
			w := weigher{d: d, fair: true}
			if a, b := w.reached(warm), w.reached(cold); slices.Compare(a, b) != 0 {
				t.Fatalf("a session reaches %v, a run %v", a, b)
			}
			if a, b := moved(d, warm), moved(d, cold); a != b {
				t.Fatalf("a session moves %d packs, a run %d", a, b)
			}
			d.Lots = slices.Clone(d.Lots)
			for i := range d.Lots {
				d.Lots[i].Packs = max(0, d.Lots[i].Packs+rapid.Int64Range(-3, 3).Draw(t, "change"))
			}
		}
	})
}

// moved counts packs that come to a line otherwise than they did before.
func moved(d match.Day, m match.Match) int64 {
	kept := make(map[match.Sent]int64)
	for _, k := range d.Kept {
		kept[match.Sent{Order: k.Order, Product: k.Product, Lot: k.Lot}] += k.Packs
	}
	sum := int64(0)
	for _, a := range m.Allocations {
		sum += max(0, a.Packs-kept[match.Sent{Order: a.Order, Product: a.Product, Lot: a.Lot}])
	}
	return sum
}

// Where nothing changed, nothing moves; where a lot turned out smaller, only what it could not give.
func TestARebalanceIsCalm(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawDay(t, usual)
		first := run(t, d)
		d = withKept(d, first)
		if n := moved(d, run(t, d)); n != 0 {
			t.Fatalf("%d packs move though nothing changed", n)
		}
		if len(first.Allocations) == 0 {
			return
		}
		lost := rapid.SampledFrom(first.Allocations).Draw(t, "lost")
		d.Lots = slices.Clone(d.Lots)
		i := slices.IndexFunc(d.Lots, func(l match.Lot) bool { return l.ID == lost.Lot })
		d.Lots[i].Packs = max(0, d.Lots[i].Packs-1)
		if n := moved(d, run(t, d)); n > 2 {
			t.Fatalf("%d packs move though one pack is missing", n)
		}
	})
}
