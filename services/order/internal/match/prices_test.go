package match_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/match"
)

// A price is what running the day with a pack more, or fewer, really changes.
func TestPricesAreExact(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := drawWishes(t, drawDay(t, usual), 3)
		m := run(t, d)
		if len(d.Products) == 0 || len(d.Lines) == 0 {
			return
		}
		id := d.Lines[0].Product
		price := match.Price{}
		for _, p := range m.Products {
			if p.Product == id {
				price = p.Price
			}
		}
		// The pack more is of a farm that anybody takes, so nobody may ask for one farm only.
		more := d
		more.Lots = append(append([]match.Lot(nil), d.Lots...), match.Lot{ID: "lot-more", Farm: "elder", Room: "elder-1", Product: id, PickDay: d.Number, Packs: 1})
		for _, l := range d.Lines {
			if l.OnlyFrom != "" {
				return
			}
		}
		if worth := run(t, more).Value() - m.Value(); worth != price.More {
			t.Fatalf("a pack more of %s changes the value by %d, its price is %d", id, worth, price.More)
		}
		cheapest, has := int64(0), false
		for i, l := range d.Lots {
			if l.Product != id || available(d, l) == 0 {
				continue
			}
			fewer := d
			fewer.Lots = append([]match.Lot(nil), d.Lots...)
			fewer.Lots[i].Packs--
			if cost := m.Value() - run(t, fewer).Value(); !has || cost < cheapest {
				cheapest, has = cost, true
			}
		}
		if has != price.Has || cheapest != price.Fewer {
			t.Fatalf("a pack fewer of %s costs %d (%v), its price says %d (%v)", id, cheapest, has, price.Fewer, price.Has)
		}
	})
}

func TestWhatBindsAndWhatIsLeft(t *testing.T) {
	t.Parallel()
	open := match.Product{ID: "open", Name: "Open caps", Kind: "white mushroom", ShelfLife: 4}
	cups := closed
	cups.Kind = open.Kind
	picky := line("o", 1, 5)
	picky.NotFrom = []string{"alder"}
	openLot := lot("c", "cedar", today, 6)
	openLot.Product = open.ID
	unsure := lot("a", "alder", today, 3)
	unsure.Withheld = 2
	cases := []struct {
		name   string
		lots   []match.Lot
		line   match.Line
		reason match.Reason
		says   []string
		left   string // of the first product
	}{
		{"excluded", []match.Lot{lot("a", "alder", today, 8)}, picky, match.Excluded, []string{"8 packs more are from farms or lots that are not to go to this order"}, "8 packs of White closed cups, 2 kg left over: kitchen-o are 5 packs short of it, but not to have it"},
		{"a part excluded", []match.Lot{lot("a", "alder", today, 8), lot("b", "birch", today, 2)}, picky, match.Excluded, []string{"5 packs ordered, 2 matched"}, "8 packs"},
		{"not promised", []match.Lot{unsure}, line("o", 1, 5), match.NotPromised, []string{"2 packs more are likely, but not sure enough to be promised"}, ""},
		{"worth", []match.Lot{lot("a", "alder", today, 3)}, line("o", 1, 5), match.NotEnough, []string{"One more pack of White closed cups, 2 kg would be worth 900 minor units, and this order would get it."}, ""},
		{"kin is left", []match.Lot{lot("a", "alder", today, 3), openLot}, line("o", 1, 5), match.NotEnough, nil, "6 packs of Open caps left over: nobody ordered more of it; kitchen-o are 2 packs short of something of the same kind"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d := dayOf(c.lots, c.line)
			d.Products = []match.Product{cups, open}
			m := run(t, d)
			if got := m.Lines[0]; got.Reason != c.reason {
				t.Errorf("reason %d, want %d: %s", got.Reason, c.reason, got.Explanation)
			}
			for _, words := range c.says {
				if !strings.Contains(m.Lines[0].Explanation, words) {
					t.Errorf("%q does not say %q", m.Lines[0].Explanation, words)
				}
			}
			left := ""
			for _, p := range m.Products {
				left += p.LeftOver
			}
			if !strings.HasPrefix(left, c.left) {
				t.Errorf("%q does not begin with %q", left, c.left)
			}
		})
	}
}
