package demoday

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"breakshare.example/deploy/internal/coopfiles"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

func TestClockGoesOnAndNeverBack(t *testing.T) {
	t.Parallel()
	start := time.Date(2026, 11, 25, 14, 30, 0, 0, time.UTC)
	c := NewClock(start)
	first := c.Now()
	if first.Before(start) || first.Sub(start) > time.Minute {
		t.Errorf("the clock began at %v, want %v", first, start)
	}
	c.Forward(start.Add(16 * time.Hour))
	if now := c.Now(); now.Before(start.Add(16 * time.Hour)) {
		t.Errorf("put forward, it shows %v", now)
	}
	later := c.Now()
	c.Forward(start)
	if now := c.Now(); now.Before(later) {
		t.Errorf("it ran back from %v to %v", later, now)
	}
}

func files(zone string, ordered, expected []string) *coopfiles.Folder {
	f := &coopfiles.Folder{Coop: coopfiles.Coop{TimeZone: zone}}
	for _, day := range ordered {
		f.Orders = append(f.Orders, coopfiles.OrderRow{DeliveryDate: day})
	}
	for _, day := range expected {
		f.ExpectedPicks = append(f.ExpectedPicks, coopfiles.ExpectedPick{Date: day})
	}
	return f
}

func TestPlanTakesTheLastDayWithOrdersAndPicks(t *testing.T) {
	t.Parallel()
	p, err := NewPlan(files("Europe/Dublin", []string{"2026-11-25", "2026-11-26", "2026-11-27"}, []string{"2026-11-26", "2026-11-28", "2026-11-25"}), "")
	if err != nil || p.Day != "2026-11-26" {
		t.Errorf("got %q, %v", p.Day, err)
	}
	if _, err := NewPlan(files("UTC", []string{"2026-11-25"}, []string{"2026-11-26"}), ""); err == nil {
		t.Error("no day has both, and none was refused")
	}
	if _, err := NewPlan(files("UTC", nil, nil), "2026-02-30"); err == nil {
		t.Error("30 February was taken")
	}
}

// TestPlanKeepsTheTimeOnTheWall looks at the two nights of 2026 in which the clocks of the
// European Union change, 29 March and 25 October (Directive 2000/84/EC).
func TestPlanKeepsTheTimeOnTheWall(t *testing.T) {
	t.Parallel()
	for day, want := range map[string][2]string{
		"2026-03-29": {"2026-03-28T14:30:00Z", "2026-03-29T06:30:00+01:00"},
		"2026-10-25": {"2026-10-24T14:30:00+01:00", "2026-10-25T06:30:00Z"},
		"2026-11-26": {"2026-11-25T14:30:00Z", "2026-11-26T06:30:00Z"},
	} {
		p, err := NewPlan(files("Europe/Dublin", nil, nil), day)
		if err != nil {
			t.Fatal(err)
		}
		got := [2]string{p.Afternoon().Format(time.RFC3339), p.Morning().Format(time.RFC3339)}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", day, diff)
		}
		if !p.Delivered().After(p.Morning()) {
			t.Errorf("%s: delivered before the morning", day)
		}
	}
}

func TestHoldBack(t *testing.T) {
	t.Parallel()
	f := files("UTC", nil, nil)
	f.Picks = []coopfiles.Pick{{Date: "2026-11-26", RoomID: "b"}, {Date: "2026-11-25", RoomID: "a"}, {Date: "2026-11-27", RoomID: "c"}}
	later := Plan{Day: "2026-11-26"}.HoldBack(f)
	if len(later) != 1 || later[0].RoomID != "b" || len(f.Picks) != 1 || f.Picks[0].RoomID != "a" {
		t.Errorf("held back %v, left %v", later, f.Picks)
	}
}

func TestTable(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	table := newTable("name", "packs", "why").right(1)
	table.add("Crêpe & Co", 7, "short")
	table.add("x", 120, strings.Repeat("word ", 30))
	table.print(&b)
	want := " name        packs  why\n" +
		" ----------  -----  --------------------------------------------------------------------------------\n" +
		" Crêpe & Co      7  short\n" +
		" x             120  word word word word word word word word word word word word word word word word\n" +
		"                    word word word word word word word word word word word word word word\n"
	if diff := cmp.Diff(want, b.String()); diff != "" {
		t.Errorf("table (-want +got):\n%s", diff)
	}
}

func TestWrapLosesNoWordAndKeepsTheWidth(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOf(rapid.StringMatching(`[a-zé]{1,12}`)).Draw(t, "words")
		most := rapid.IntRange(12, 60).Draw(t, "most")
		lines := wrap(strings.Join(words, " "), most)
		if got := strings.Fields(strings.Join(lines, " ")); !cmp.Equal(got, append([]string{}, words...)) {
			t.Fatalf("%q became %q", words, lines)
		}
		for _, line := range lines {
			if utf8.RuneCountInString(line) > most {
				t.Fatalf("%q is wider than %d", line, most)
			}
		}
	})
}

func TestPercent(t *testing.T) {
	t.Parallel()
	for want, of := range map[string][2]int64{"100.0 %": {7, 7}, "33.3 %": {1, 3}, "99.9 %": {1999, 2000}, "0.0 %": {0, 5}, "-": {0, 0}} {
		if got := percent(of[0], of[1]); got != want {
			t.Errorf("%d of %d: got %s, want %s", of[0], of[1], got, want)
		}
	}
}

func TestSame(t *testing.T) {
	t.Parallel()
	packs := likely(&orderv1.Match{Products: []*orderv1.MatchProduct{{ProductId: "a", Offered: 9, Likely: 5}, {ProductId: "b"}}})
	for _, c := range []struct {
		expected map[string]int64
		want     bool
	}{
		{map[string]int64{"a": 5, "b": 0}, true}, {map[string]int64{"a": 5}, true}, {map[string]int64{"a": 4}, false}, {map[string]int64{"a": 6}, false},
		{map[string]int64{"a": 5, "c": 1}, false}, {nil, false},
	} {
		if got := same(packs, c.expected); got != c.want {
			t.Errorf("%v and %v are the same: %v", packs, c.expected, got)
		}
	}
}

func TestSplitLotKeepsTheOrder(t *testing.T) {
	t.Parallel()
	line := func(room, lot, customer string) *orderv1.PackListLine {
		return &orderv1.PackListLine{RoomId: room, PickLotId: lot, CustomerId: customer}
	}
	lot, rest := splitLot([]*orderv1.PackListLine{line("1", "x", "a"), line("1", "y", "b"), line("1", "x", "c"), line("2", "z", "d")})
	if len(lot) != 2 || lot[1].GetCustomerId() != "c" || len(rest) != 2 || rest[0].GetCustomerId() != "b" {
		t.Errorf("got lot %v and rest %v", lot, rest)
	}
}
