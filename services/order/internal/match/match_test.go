package match_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/order/internal/match"
)

const today = 20783 // 2026-11-26

var closed = match.Product{ID: "white-closed", Name: "White closed cups, 2 kg", ShelfLife: 4}

func lot(id, farm string, pickDay int, packs int64) match.Lot {
	return match.Lot{ID: id, Farm: farm, Room: farm + "-1", Product: closed.ID, PickDay: pickDay, Packs: packs, Carry: match.Carry{Known: true, Milli: 10}}
}

func line(order string, class int, packs int64) match.Line {
	return match.Line{Order: order, Customer: "kitchen-" + order, Product: closed.ID, Class: class, Packs: packs, Value: 900}
}

func dayOf(lots []match.Lot, lines ...match.Line) match.Day {
	return match.Day{Number: today, Products: []match.Product{closed}, Lots: lots, Lines: lines}
}

// byCarry has farms sell by what they cost to carry, and not alike.
func byCarry(d match.Day) match.Day {
	d.Rules.Left = match.LeftByCarry
	return d
}

func TestReasons(t *testing.T) {
	t.Parallel()
	held := lot("held", "alder", today, 7)
	held.Held = true
	cases := []struct {
		name   string
		day    match.Day
		reason match.Reason
		says   []string
	}{
		{"nobody has any", dayOf(nil, line("o", 1, 5)), match.NotOffered, []string{"No farm has White closed cups, 2 kg"}},
		{"a lot of no packs is no offer", dayOf([]match.Lot{lot("a", "alder", today, 0)}, line("o", 1, 5)), match.NotOffered, []string{"No farm"}},
		{"all is held", dayOf([]match.Lot{held}, line("o", 1, 5)), match.NotFit, []string{"7 packs held"}},
		{"all is old", dayOf([]match.Lot{lot("a", "alder", today-5, 1)}, line("o", 1, 5)), match.NotFit, []string{"1 pack past the shelf life"}},
		{
			"held too warm", dayOf([]match.Lot{held, func() match.Lot { l := lot("a", "alder", today-1, 2); l.KeepsUntil = today - 1; return l }()}, line("o", 1, 5)),
			match.NotFit, []string{"7 packs held, 2 held too warm to keep until then"},
		},
		{"both", dayOf([]match.Lot{held, lot("a", "alder", today-5, 2)}, line("o", 1, 5)), match.NotFit, []string{"7 packs held, 2 past the shelf life"}},
		{"too few", dayOf([]match.Lot{lot("a", "alder", today, 3)}, line("o", 1, 5)), match.NotEnough, []string{"5 packs ordered, 3 matched", "only 3 packs"}},
		{
			"too few, some held", dayOf([]match.Lot{lot("a", "alder", today, 3), held}, line("o", 1, 5)), match.NotEnough,
			[]string{"only 3 packs", "Kept back: 7 packs held"},
		},
		{
			"a higher class", dayOf([]match.Lot{lot("a", "alder", today, 8)}, line("first", 1, 6), line("o", 3, 5)), match.HigherClass,
			[]string{"5 packs ordered, 2 matched", "only 8 packs", "for 11 ordered", "6 went to customers of a higher class than 3"},
		},
		{
			"the same class", dayOf([]match.Lot{lot("a", "alder", today, 8)}, line("first", 2, 6), line("o", 2, 5)), match.SameClass,
			[]string{"4 to other orders of class 2"},
		},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m, err := match.Run(t.Context(), c.day, nil)
			if err != nil {
				t.Fatal(err)
			}
			got := m.Lines[len(m.Lines)-1]
			if got.Order != "o" || got.Reason != c.reason {
				t.Errorf("order %s, reason %d, want %d: %s", got.Order, got.Reason, c.reason, got.Explanation)
			}
			for _, words := range c.says {
				if !strings.Contains(got.Explanation, words) {
					t.Errorf("%q does not say %q", got.Explanation, words)
				}
			}
		})
	}
}

func TestAims(t *testing.T) {
	t.Parallel()
	dear, unknown := lot("a-dear", "alder", today, 4), lot("a-unknown", "birch", today, 4)
	dear.Carry.Milli, unknown.Carry = 900, match.Carry{}
	cases := []struct {
		name string
		day  match.Day
		want map[string]int64 // packs by lot and order
	}{
		{"older first", dayOf([]match.Lot{lot("new", "alder", today, 4), lot("old", "birch", today-4, 3)}, line("o", 1, 5)), map[string]int64{"old o": 3, "new o": 2}},
		{"of one day, what keeps less long first", dayOf([]match.Lot{lot("cold", "alder", today-1, 4), func() match.Lot { l := lot("warm", "birch", today-1, 4); l.KeepsUntil = today; return l }()}, line("o", 1, 4)), map[string]int64{"warm o": 4}},
		{"farms sell alike", dayOf([]match.Lot{dear, lot("b-cheap", "cedar", today, 4)}, line("o", 1, 5)), map[string]int64{"b-cheap o": 3, "a-dear o": 2}},
		{"a pack is not sold for being sold", func() match.Day {
			// Both ways are worth 900; one moves one pack, the other two.
			d := byCarry(dayOf([]match.Lot{lot("a", "alder", today, 1)}, line("o", 1, 1), line("p", 1, 1)))
			d.Products = append(d.Products, match.Product{ID: "open", ShelfLife: 4})
			d.Lots = append(d.Lots, match.Lot{ID: "b", Farm: "birch", Product: "open", PickDay: today, Packs: 1, Carry: match.Carry{Known: true, Milli: 10}})
			d.Lines[0].Instead = []match.Instead{{Product: "open", Reluctance: 450}}
			d.Lines[1].Value, d.Lines[1].OnlyFrom, d.Rules.Short = 450, "alder", match.ShortInTurn
			return d
		}(), map[string]int64{"a o": 1}},
		{"cheaper carriage next", byCarry(dayOf([]match.Lot{dear, lot("b-cheap", "cedar", today, 4)}, line("o", 1, 5))), map[string]int64{"b-cheap o": 4, "a-dear o": 1}},
		{"unknown carriage last", byCarry(dayOf([]match.Lot{unknown, dear}, line("o", 1, 5))), map[string]int64{"a-dear o": 4, "a-unknown o": 1}},
		{"age before carriage", dayOf([]match.Lot{lot("new", "cedar", today, 4), func() match.Lot { l := dear; l.PickDay--; return l }()}, line("o", 1, 3)), map[string]int64{"a-dear o": 3}},
		{"class before all", dayOf([]match.Lot{lot("a", "alder", today, 4)}, line("a-late", 9, 100), line("z-first", 1, 4)), map[string]int64{"a z-first": 4}},
		{"what is short is shared", dayOf([]match.Lot{lot("a", "alder", today, 4)}, line("y", 1, 3), line("x", 1, 3)), map[string]int64{"a x": 2, "a y": 2}},
		{"and so does the odd pack", dayOf([]match.Lot{lot("a", "alder", today, 5)}, line("y", 1, 3), line("x", 1, 3)), map[string]int64{"a x": 3, "a y": 2}},
		{"no demand, no match", dayOf([]match.Lot{lot("a", "alder", today, 4)}), map[string]int64{}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m, err := match.Run(t.Context(), c.day, nil)
			if err != nil {
				t.Fatal(err)
			}
			got := make(map[string]int64)
			for _, a := range m.Allocations {
				got[a.Lot+" "+a.Order] = a.Packs
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	good := func() match.Day { return dayOf([]match.Lot{lot("a", "alder", today, 4)}, line("o", 1, 3)) }
	cases := []struct {
		name  string
		spoil func(d *match.Day)
		says  string
	}{
		{"product twice", func(d *match.Day) { d.Products = append(d.Products, closed) }, "product white-closed is there twice"},
		{"shelf life", func(d *match.Day) { d.Products[0].ShelfLife = -1 }, "shelf life of -1"},
		{"lot twice", func(d *match.Day) { d.Lots = append(d.Lots, d.Lots[0]) }, "lot a is there twice"},
		{"lot of an unknown product", func(d *match.Day) { d.Lots[0].Product = "gold" }, `lot a is of product "gold"`},
		{"negative packs", func(d *match.Day) { d.Lots[0].Packs = -1 }, "lot a has -1 packs"},
		{"absurd packs", func(d *match.Day) { d.Lots[0].Packs = 1 << 60 }, "lot a has"},
		{"picked after the delivery", func(d *match.Day) { d.Lots[0].PickDay = today + 1 }, "after the delivery"},
		{"negative carriage", func(d *match.Day) { d.Lots[0].Carry.Milli = -1 }, "carry cost of -1"},
		{"line twice", func(d *match.Day) { d.Lines = append(d.Lines, d.Lines[0]) }, "line o/white-closed is there twice"},
		{"line of an unknown product", func(d *match.Day) { d.Lines[0].Product = "gold" }, "line o/gold asks for a product"},
		{"no packs", func(d *match.Day) { d.Lines[0].Packs = 0 }, "asks for 0 packs"},
		{"class", func(d *match.Day) { d.Lines[0].Class = 10 }, "is of class 10"},
		{"negative value", func(d *match.Day) { d.Lines[0].Value = -1 }, "has a value of -1"},
		{"day", func(d *match.Day) { d.Number = -1 }, "day -1"},
		{"sent from nowhere", func(d *match.Day) { d.Sent = []match.Sent{{Order: "o", Product: closed.ID, Lot: "b", Packs: 1}} }, "from a lot that is not among"},
		{"sent to nobody", func(d *match.Day) { d.Sent = []match.Sent{{Order: "q", Product: closed.ID, Lot: "a", Packs: 1}} }, "for a line that is not among"},
		{"more sent than ordered", func(d *match.Day) { d.Sent = []match.Sent{{Order: "o", Product: closed.ID, Lot: "a", Packs: 4}} }, "4 packs of 3 ordered"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d := good()
			d.Products = append([]match.Product(nil), d.Products...)
			c.spoil(&d)
			_, err := match.Run(t.Context(), d, nil)
			var problem *match.Problem
			if !errors.As(err, &problem) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v, want a *Problem that says %q", err, c.says)
			}
		})
	}
}

// So much money, where money counts because a substitute is taken with reluctance, would leave 62
// bits.
func TestADayTooLargeIsRefusedAtTheDoor(t *testing.T) {
	t.Parallel()
	d := dayOf([]match.Lot{lot("a", "alder", today, 1<<40)}, line("o", 1, 1<<40))
	d.Products = append(d.Products, match.Product{ID: "open"})
	d.Lines[0].Value, d.Lines[0].Instead = 1<<40, []match.Instead{{Product: "open", Reluctance: 1}}
	_, err := match.Run(t.Context(), d, nil)
	var large *match.TooLarge
	if !errors.As(err, &large) {
		t.Fatalf("%v, want a *TooLarge", err)
	}
	if diff := cmp.Diff(&match.TooLarge{Lots: 1, Lines: 1, Packs: 2 << 40}, large); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestWhatLeftOfAHeldLotStays(t *testing.T) {
	t.Parallel()
	held := lot("a", "alder", today, 10)
	held.Held = true
	d := dayOf([]match.Lot{held, lot("b", "birch", today, 2)}, line("o", 1, 5))
	d.Sent = []match.Sent{{Order: "o", Product: closed.ID, Lot: "a", Packs: 2}}
	m, err := match.Run(t.Context(), d, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := []match.ProductSum{{
		Product: closed.ID, Offered: 4, Ordered: 5, Matched: 4, Given: 4,
		Price: match.Price{More: 900, Fewer: 900, Has: true, Order: "o", Customer: "kitchen-o", For: closed.ID},
	}}
	if diff := cmp.Diff(want, m.Products); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if l := m.Lines[0]; l.Reason != match.NotEnough || !strings.Contains(l.Explanation, "Kept back: 8 packs held") {
		t.Errorf("reason %d: %s", l.Reason, l.Explanation)
	}
}

func TestStepsAndCancelling(t *testing.T) {
	t.Parallel()
	d := dayOf([]match.Lot{lot("a", "alder", today, 4)}, line("o", 1, 3))
	var steps []match.Step
	m, err := match.Run(t.Context(), d, func(s match.Step) { steps = append(steps, s) })
	if err != nil {
		t.Fatal(err)
	}
	steps = slices.Compact(steps)
	if diff := cmp.Diff([]match.Step{match.Solving, match.Verifying}, steps); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if !m.Proof.Verified || m.Proof.Nodes != 6 || m.Proof.Arcs != 6 {
		t.Errorf("proof %+v, want 6 nodes and 6 arcs, verified", m.Proof)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := match.Run(ctx, d, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("after cancelling: %v", err)
	}
}
