package match_test

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/match"
)

// A session gives the matches of runs from nothing, whatever becomes of lots and orders.
func TestASessionGivesTheSameMatches(t *testing.T) {
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
			if diff := cmp.Diff(cold, warm, cmpopts.IgnoreTypes(match.Proof{})); diff != "" {
				t.Fatalf("(-from nothing +in a session):\n%s", diff)
			}
			if diff := cmp.Diff(cold.Proof.Gap, warm.Proof.Gap); diff != "" {
				t.Fatalf("gap (-from nothing +in a session):\n%s", diff)
			}
			d.Lots, d.Lines = slices.Clone(d.Lots), slices.Clone(d.Lines)
			for i := range d.Lots {
				d.Lots[i].Packs = max(0, d.Lots[i].Packs+rapid.Int64Range(-3, 3).Draw(t, "change"))
				d.Lots[i].Held = d.Lots[i].Held != (rapid.IntRange(0, 9).Draw(t, "held or freed") == 0)
			}
			if len(d.Lines) > 0 && rapid.IntRange(0, 3).Draw(t, "cancelled") == 0 {
				gone := d.Lines[rapid.IntRange(0, len(d.Lines)-1).Draw(t, "gone")]
				d.Lines = slices.DeleteFunc(d.Lines, func(l match.Line) bool { return l.Order == gone.Order && l.Product == gone.Product })
				d.Pins = slices.DeleteFunc(slices.Clone(d.Pins), func(p match.Pin) bool { return p.Order == gone.Order && p.Product == gone.Product })
			}
			for j := range d.Lines {
				d.Lines[j].Packs = max(1, d.Lines[j].Packs+rapid.Int64Range(-1, 1).Draw(t, "order"))
				d.Lines[j].Least = rapid.Int64Range(0, d.Lines[j].Packs/4).Draw(t, "least")
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
