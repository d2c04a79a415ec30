package match_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/order/internal/match"
)

// pinDay has 10 packs of alder and 4 of birch for x, who wants 6, and y, who wants 12; y goes
// first.
func pinDay(pins ...match.Pin) match.Day {
	d := dayOf([]match.Lot{lot("a", "alder", today, 10), lot("b", "birch", today, 4)}, line("x", 2, 6), line("y", 1, 12))
	d.Pins = pins
	return d
}

func TestPinsAreRespected(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name string
		pins []match.Pin
		want map[string]int64 // packs by order, and by lot and order
		cost int64            // of the value met
	}{
		{"none", nil, map[string]int64{"x": 2, "y": 12}, 0},
		{"packs", []match.Pin{{ID: "p", Kind: match.PinPacks, Order: "x", Packs: 5}}, map[string]int64{"x": 5, "y": 9}, 0},
		{"no packs", []match.Pin{{ID: "p", Kind: match.PinPacks, Order: "y"}}, map[string]int64{"x": 6}, 8 * 900},
		{"packs of a farm", []match.Pin{{ID: "p", Kind: match.PinPacks, Order: "x", Farm: "birch", Packs: 3}}, map[string]int64{"x": 3, "b x": 3, "y": 11}, 0},
		{"packs of a lot", []match.Pin{{ID: "p", Kind: match.PinPacks, Order: "x", Lot: "b", Packs: 1}, {ID: "q", Kind: match.PinPacks, Order: "x", Packs: 4}}, map[string]int64{"x": 4, "y": 10}, 0},
		{"forbid a farm", []match.Pin{{ID: "p", Kind: match.PinForbid, Order: "y", Farm: "alder"}}, map[string]int64{"b y": 4, "y": 4, "x": 6}, 4 * 900},
		{"forbid a lot", []match.Pin{{ID: "p", Kind: match.PinForbid, Order: "y", Lot: "b"}}, map[string]int64{"y": 10, "x": 4}, 0},
		{"raise", []match.Pin{{ID: "p", Kind: match.PinRaise, Order: "x", Class: 1}}, map[string]int64{"x": 6, "y": 8}, 0},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			for i := range c.pins {
				c.pins[i].Product = closed.ID
			}
			d, got := pinDay(c.pins...), make(map[string]int64)
			m := run(t, d)
			for _, a := range m.Allocations {
				got[a.Order] += a.Packs
				got[a.Lot+" "+a.Order] += a.Packs
			}
			for what, want := range c.want {
				if got[what] < want || !strings.Contains(what, " ") && got[what] != want {
					t.Errorf("%s has %d packs, want %d", what, got[what], want)
				}
			}
			if free := run(t, pinDay()); free.Value()-m.Value() != c.cost {
				t.Errorf("the pins cost %d, want %d", free.Value()-m.Value(), c.cost)
			}
		})
	}
}

func TestPinsThatCannotBeAreRefused(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name string
		pins []match.Pin
		says string
	}{
		{"more than there is", []match.Pin{{ID: "p", Kind: match.PinPacks, Order: "y", Farm: "birch", Packs: 5}}, "1 of its packs are not to be had"},
		{"more than ordered", []match.Pin{{ID: "p", Kind: match.PinPacks, Order: "x", Packs: 7}}, "7 packs of 6 ordered"},
		{"pinned and forbidden", []match.Pin{{ID: "p", Kind: match.PinPacks, Order: "x", Farm: "birch", Packs: 1}, {ID: "q", Kind: match.PinForbid, Order: "x", Farm: "birch"}}, "not to be had"},
		{"two totals", []match.Pin{{ID: "p", Kind: match.PinPacks, Order: "x", Packs: 1}, {ID: "q", Kind: match.PinPacks, Order: "x", Packs: 2}}, "keep one of the two"},
		{"parts above the total", []match.Pin{{ID: "p", Kind: match.PinPacks, Order: "x", Lot: "a", Packs: 3}, {ID: "q", Kind: match.PinPacks, Order: "x", Packs: 2}}, "3, and 2 can still be given"},
		{"an unknown lot", []match.Pin{{ID: "p", Kind: match.PinForbid, Order: "x", Lot: "z"}}, "no lot z"},
		{"an unknown line", []match.Pin{{ID: "p", Kind: match.PinPacks, Order: "z", Packs: 1}}, "no such line"},
		{"negative", []match.Pin{{ID: "p", Kind: match.PinPacks, Order: "x", Packs: -1}}, "-1 packs"},
		{"no class", []match.Pin{{ID: "p", Kind: match.PinRaise, Order: "x", Class: 10}}, "class 10"},
		{"nothing forbidden", []match.Pin{{ID: "p", Kind: match.PinForbid, Order: "x"}}, "forbids nothing"},
		{"the same name", []match.Pin{{ID: "p", Kind: match.PinRaise, Order: "x", Class: 1}, {ID: "p", Kind: match.PinRaise, Order: "y", Class: 1}}, "two pins of that name"},
		{"no kind", []match.Pin{{ID: "p", Order: "x"}}, "no kind of pin"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			for i := range c.pins {
				c.pins[i].Product = closed.ID
			}
			_, err := match.Run(t.Context(), pinDay(c.pins...), nil)
			var problem *match.Problem
			if !errors.As(err, &problem) || problem.Thing != "line" || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v, want a *Problem of a line that says %q", err, c.says)
			}
		})
	}
}

// What fewer packs than are of use would be goes to others, and the gap to the bound is told.
func TestTooFewPacksAreOfNoUse(t *testing.T) {
	t.Parallel()
	d := dayOf([]match.Lot{lot("a", "alder", today, 9)}, line("x", 1, 8), line("y", 1, 8))
	for i := range d.Lines {
		d.Lines[i].Least = 6
	}
	m := run(t, d)
	if diff := cmp.Diff(map[string]int64{"kitchen-x": 8, "kitchen-y": 0}, matched(m)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if l := m.Lines[1]; l.Reason != match.TooFewOfUse || !strings.Contains(l.Explanation, "fewer than the 6 that are of use") {
		t.Errorf("reason %d: %s", l.Reason, l.Explanation)
	}
	if want := [10]int64{1: 900}; m.Proof.Gap != want {
		t.Errorf("gap %v, want %v: one pack is left that the network could have placed", m.Proof.Gap, want)
	}
}
