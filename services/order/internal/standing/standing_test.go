package standing_test

import (
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"breakshare.example/services/order/internal/standing"
)

// Days of one week: 2026-11-30 is a Monday.
const monday = 20787

func TestWeekday(t *testing.T) {
	t.Parallel()
	for day := -800; day < 40_000; day += 13 {
		at := time.Unix(int64(day)*24*60*60, 0).UTC()
		want := (int(at.Weekday())+6)%7 + 1 // package time counts from Sunday, ISO 8601 from Monday
		if got := standing.Weekday(day); got != want {
			t.Fatalf("%s is day %d of the week, not %d", at.Format(time.DateOnly), want, got)
		}
	}
	if at := time.Unix(monday*24*60*60, 0).UTC().Format(time.DateOnly); at != "2026-11-30" {
		t.Fatalf("day %d is %s", monday, at)
	}
}

func on(days ...int) standing.Week {
	var w standing.Week
	for _, d := range days {
		w = w.On(d)
	}
	return w
}

func weekly() standing.Order {
	return standing.Order{ID: "weekly", From: monday, Until: standing.NoEnd, Lines: []standing.Line{
		{Product: "white", Packs: 8, Smallest: 2, Week: on(1, 5)}, {Product: "white", Packs: 12, Week: on(6)}, {Product: "oyster", Packs: 3, Week: on(5)},
	}}
}

func TestCheck(t *testing.T) {
	t.Parallel()
	tests := map[string]struct {
		spoil func(*standing.Order)
		field string
	}{
		"as it should be":       {func(*standing.Order) {}, ""},
		"ends before it begins": {func(o *standing.Order) { o.Until = o.From - 1 }, "until_date"},
		"one day only":          {func(o *standing.Order) { o.Until = o.From }, ""},
		"a day twice":           {func(o *standing.Order) { o.Lines[1].Week = on(5) }, "lines[1].weekdays"},
		"more of use than wanted": {
			func(o *standing.Order) { o.Lines[2].Smallest = 4 }, "lines[2].smallest_packs",
		},
		"a rest that ends before it begins": {func(o *standing.Order) { o.Rests = []standing.Rest{{monday, monday - 1}} }, "exceptions[0].until_date"},
		"rests that overlap":                {func(o *standing.Order) { o.Rests = []standing.Rest{{monday, monday + 3}, {monday + 3, monday + 9}} }, "exceptions[1].from_date"},
		"rests side by side":                {func(o *standing.Order) { o.Rests = []standing.Rest{{monday, monday + 3}, {monday + 4, monday + 9}} }, ""},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			o := weekly()
			test.spoil(&o)
			err := o.Check()
			var problem *standing.Problem
			if errors.As(err, &problem) != (test.field != "") || (problem != nil && problem.Field != test.field) {
				t.Errorf("got %v, want a problem of %q", err, test.field)
			}
		})
	}
}

func TestClash(t *testing.T) {
	t.Parallel()
	other := standing.Order{ID: "other", From: monday + 10, Until: monday + 20, Lines: []standing.Line{{Product: "oyster", Packs: 1, Week: on(5)}}}
	if line, found := standing.Clash(weekly(), other); !found || line != 2 {
		t.Errorf("oyster on Fridays in both: line %d, %v", line, found)
	}
	for name, change := range map[string]func(a, b *standing.Order){
		"one ended":        func(a, _ *standing.Order) { a.Ended = true },
		"after the other":  func(a, _ *standing.Order) { a.Until = monday + 9 },
		"on other days":    func(_, b *standing.Order) { b.Lines[0].Week = on(1, 2, 3, 4, 6, 7) },
		"another product":  func(_, b *standing.Order) { b.Lines[0].Product = "brown" },
		"before the other": func(a, _ *standing.Order) { a.From = monday + 21 },
	} {
		a, b := weekly(), other
		b.Lines = append([]standing.Line(nil), other.Lines...)
		change(&a, &b)
		if _, found := standing.Clash(a, b); found {
			t.Errorf("%s: they clash", name)
		}
		if _, found := standing.Clash(b, a); found {
			t.Errorf("%s: they clash the other way round", name)
		}
	}
}

func TestWant(t *testing.T) {
	t.Parallel()
	resting := weekly()
	resting.Rests = []standing.Rest{{monday + 4, monday + 4}}
	paused, ended := weekly(), weekly()
	paused.Paused, ended.Ended = true, true
	extra := standing.Order{ID: "extra", From: monday, Until: monday + 7, Lines: []standing.Line{{Product: "brown", Packs: 1, Week: on(1, 5)}}}
	friday := []standing.Packs{{"oyster", 3, 0}, {"white", 8, 2}}
	tests := map[string]struct {
		orders []standing.Order
		day    int
		want   standing.Wanted
	}{
		"its own days":         {[]standing.Order{weekly()}, monday + 4, standing.Wanted{Lines: friday, Orders: []string{"weekly"}}},
		"week after week":      {[]standing.Order{weekly()}, monday + 4 + 7*52, standing.Wanted{Lines: friday, Orders: []string{"weekly"}}},
		"another day":          {[]standing.Order{weekly()}, monday + 1, standing.Wanted{}},
		"before it begins":     {[]standing.Order{weekly()}, monday - 3, standing.Wanted{}},
		"an exception":         {[]standing.Order{resting}, monday + 4, standing.Wanted{Rests: true, Orders: []string{"weekly"}}},
		"the week after it":    {[]standing.Order{resting}, monday + 11, standing.Wanted{Lines: friday, Orders: []string{"weekly"}}},
		"paused":               {[]standing.Order{paused}, monday + 4, standing.Wanted{Rests: true, Orders: []string{"weekly"}}},
		"ended":                {[]standing.Order{ended}, monday + 4, standing.Wanted{}},
		"two put together":     {[]standing.Order{weekly(), extra}, monday + 4, standing.Wanted{Lines: append([]standing.Packs{{"brown", 1, 0}}, friday...), Orders: []string{"extra", "weekly"}}},
		"one of the two rests": {[]standing.Order{resting, extra}, monday + 4, standing.Wanted{Lines: []standing.Packs{{"brown", 1, 0}}, Rests: true, Orders: []string{"extra", "weekly"}}},
		"after the last day":   {[]standing.Order{extra}, monday + 11, standing.Wanted{}},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if d := cmp.Diff(test.want, standing.Want(test.orders, test.day)); d != "" {
				t.Errorf("(-want +got):\n%s", d)
			}
		})
	}
}

func TestDecide(t *testing.T) {
	t.Parallel()
	eight, ten := []standing.Packs{{"white", 8, 2}}, []standing.Packs{{"white", 10, 0}}
	asks := standing.Wanted{Lines: eight, Orders: []string{"weekly"}}
	rests := standing.Wanted{Rests: true, Orders: []string{"weekly"}}
	own := func(lines []standing.Packs) standing.Have {
		return standing.Have{ID: "auto", Origin: standing.Standing, Lines: lines}
	}
	cancelled := func(h standing.Have) standing.Have { h.Cancelled = true; return h }
	left := func(h standing.Have) standing.Have { h.Left = true; return h }
	hand := standing.Have{ID: "hand", Lines: ten}
	touched := standing.Have{ID: "auto", Origin: standing.Touched, Lines: ten}
	late := standing.Day{Late: true}
	tests := map[string]struct {
		want  standing.Wanted
		have  []standing.Have
		day   standing.Day
		got   standing.Outcome
		order string
	}{
		"no order yet":                        {asks, nil, standing.Day{}, standing.Place, ""},
		"there already":                       {asks, []standing.Have{own(eight)}, standing.Day{}, standing.AsOrdered, "auto"},
		"there already, and late":             {asks, []standing.Have{own(eight)}, late, standing.AsOrdered, "auto"},
		"changed since":                       {asks, []standing.Have{own(ten)}, standing.Day{}, standing.Change, "auto"},
		"changed too late":                    {asks, []standing.Have{own(ten)}, late, standing.TooLate, "auto"},
		"changed after packs left":            {asks, []standing.Have{left(own(ten))}, standing.Day{}, standing.TooLate, "auto"},
		"nothing asked for any more":          {standing.Wanted{}, []standing.Have{own(ten)}, standing.Day{}, standing.Cancel, "auto"},
		"nothing any more, too late":          {standing.Wanted{}, []standing.Have{own(ten)}, late, standing.TooLate, "auto"},
		"rests from now on":                   {rests, []standing.Have{own(eight)}, standing.Day{}, standing.Cancel, "auto"},
		"rests":                               {rests, nil, standing.Day{}, standing.Rests, ""},
		"rests, as cancelled":                 {rests, []standing.Have{cancelled(own(eight))}, standing.Day{}, standing.Rests, "auto"},
		"goes on after a rest":                {asks, []standing.Have{cancelled(own(eight))}, standing.Day{}, standing.Place, "auto"},
		"goes on too late":                    {asks, []standing.Have{cancelled(own(eight))}, late, standing.TooLate, "auto"},
		"missed by the clock":                 {asks, nil, late, standing.Place, ""},
		"asked for after the cut-off":         {asks, nil, standing.Day{Late: true, LateWish: true}, standing.TooLate, ""},
		"closed":                              {asks, nil, standing.Day{Closed: true}, standing.Closed, ""},
		"closed, with an order of its own":    {asks, []standing.Have{own(eight)}, standing.Day{Closed: true}, standing.Cancel, "auto"},
		"by hand":                             {asks, []standing.Have{hand}, standing.Day{}, standing.Kept, "hand"},
		"by hand before its own":              {asks, []standing.Have{own(eight), hand}, standing.Day{}, standing.Kept, "hand"},
		"by hand and the same":                {asks, []standing.Have{{ID: "hand", Lines: eight}}, standing.Day{}, standing.AsOrdered, "hand"},
		"by hand where nothing is asked for":  {standing.Wanted{}, []standing.Have{hand}, standing.Day{}, standing.Nothing, "hand"},
		"by hand on a day of rest":            {rests, []standing.Have{hand}, standing.Day{}, standing.Rests, "hand"},
		"by hand and closed":                  {asks, []standing.Have{hand}, standing.Day{Closed: true}, standing.Closed, "hand"},
		"changed by the buyer":                {asks, []standing.Have{touched}, standing.Day{}, standing.Kept, "auto"},
		"cancelled by the buyer":              {asks, []standing.Have{cancelled(touched)}, standing.Day{}, standing.Kept, "auto"},
		"cancelled by hand, placed by hand":   {asks, []standing.Have{cancelled(standing.Have{ID: "a"}), hand}, standing.Day{}, standing.Kept, "hand"},
		"nothing at all":                      {standing.Wanted{}, nil, standing.Day{}, standing.Nothing, ""},
		"nothing asked for, as was cancelled": {standing.Wanted{}, []standing.Have{cancelled(own(eight))}, standing.Day{}, standing.Nothing, "auto"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := standing.Decide(test.want, test.have, test.day)
			if got.Outcome != test.got || got.Order != test.order {
				t.Errorf("got %d of order %q, want %d of %q", got.Outcome, got.Order, test.got, test.order)
			}
		})
	}
}

// What was decided once leaves nothing to decide the second time.
func TestDecidingTwiceIsDecidingOnce(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		packs := func(name string) []standing.Packs {
			var lines []standing.Packs
			for _, product := range []string{"white", "oyster"} {
				if n := rapid.Int64Range(0, 3).Draw(rt, name); n > 0 {
					lines = append(lines, standing.Packs{Product: product, Packs: n})
				}
			}
			return lines
		}
		w := standing.Wanted{Lines: packs("wanted")}
		var have []standing.Have
		if rapid.Bool().Draw(rt, "ordered") {
			have = []standing.Have{{
				ID: "o", Origin: standing.Origin(rapid.IntRange(0, 2).Draw(rt, "origin")), Cancelled: rapid.Bool().Draw(rt, "cancelled"),
				Left: rapid.Bool().Draw(rt, "left"), Lines: packs("had"),
			}}
		}
		day := standing.Day{Closed: rapid.Bool().Draw(rt, "closed"), Late: rapid.Bool().Draw(rt, "late"), LateWish: rapid.Bool().Draw(rt, "late wish")}
		first := standing.Decide(w, have, day)
		switch first.Outcome {
		case standing.Place, standing.Change:
			have = []standing.Have{{ID: "o", Origin: standing.Standing, Lines: first.Lines}}
		case standing.Cancel:
			have[0].Cancelled = true
		default:
			if again := standing.Decide(w, have, day); again.Outcome != first.Outcome {
				rt.Fatalf("%v, and then %v", first, again)
			}
			return
		}
		if again := standing.Decide(w, have, day); again.Outcome == standing.Place || again.Outcome == standing.Change || again.Outcome == standing.Cancel {
			rt.Fatalf("%v, and then %v", first, again)
		}
	})
}
