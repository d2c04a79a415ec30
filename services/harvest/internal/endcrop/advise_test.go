package endcrop_test

import (
	"errors"
	"testing"

	"breakshare.example/services/harvest/internal/endcrop"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// room is a case that can be followed by hand. A kilo brings 3.00 − 0.80 − 0.20
// = 2.00. A fresh cycle: 1000.00 changeover and running cost 10.00 a day; 20 d to
// the first pick, 2 d cook-out and idle; breaks of 1000, 600 and 200 kg in 5, 8
// and 8 days.
//
//	after 1 break: (2000 − 1000 − 200 − 50)/27 = 750/27 = 27.78 a day
//	after 2:       (750 + 1200 − 80)/35 = 1870/35 = 53.43
//	after 3:       (1870 + 400 − 80)/43 = 2190/43 = 50.93
func room() endcrop.Input {
	return endcrop.Input{
		Margin:     endcrop.Margin{PricePerKg: 300, PickingPerKg: 80, HandlingPerKg: 20},
		RoomPerDay: 1000,
		Fresh: endcrop.Fresh{
			Fill: 60_000, Spawn: 20_000, Casing: 10_000, CookOut: 7_000, Other: 3_000,
			FillToFirstPick: 20, CookOutDays: 1, IdleDays: 1,
			Breaks: []endcrop.FreshBreak{{1_000_000, 5}, {600_000, 8}, {200_000, 8}},
		},
	}
}

func advise(t *testing.T, in endcrop.Input) endcrop.Advice {
	t.Helper()
	a, err := endcrop.Advise(in)
	if err != nil {
		t.Fatalf("Advise: %v", err)
	}
	return a
}

func TestSecondBreakIsWorthItsRoom(t *testing.T) {
	t.Parallel()
	in := room()
	in.Breaks = []endcrop.Break{{2, 7, 400_000, 600_000, 700_000}, {3, 15, 100_000, 200_000, 250_000}}
	got := advise(t, in)
	// Second break: 600 kg × 2.00 − 8 d × 10.00 = 1120.00 over 8 days, against
	// 8 × 53.43 = 427.43: gain 692.57. Third: 400 − 80 = 320 − 427.43 < 0.
	want := endcrop.Advice{
		Verdict: endcrop.AnotherBreak, Sure: true, KeepThrough: 2, ClearOn: 8,
		// 1200 = D × (10 + 53.43): D = 18.9, so the 19th day (number 18) costs.
		CostsFrom: 18, DelayPerDay: 5343 + 1000,
		Next: endcrop.Rate{Net: 112_000, Days: 8}, NextNet: endcrop.Money{Sales: 180_000, PickingAndHandling: 60_000, Room: 8000, Net: 112_000},
		Fresh: endcrop.Rate{Net: 187_000, Days: 35}, FreshBreaks: 2,
		GainLow: 80_000 - 8000 - 42_743, GainLikely: 112_000 - 42_743, GainHigh: 140_000 - 8000 - 42_743,
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("advice:\n%s", diff)
	}
}

func TestThirdBreakIsNot(t *testing.T) {
	t.Parallel()
	in := room()
	in.Breaks = []endcrop.Break{{3, 7, 100_000, 200_000, 300_000}}
	got := advise(t, in)
	if got.Verdict != endcrop.ClearRoom || got.KeepThrough != 0 || got.ClearOn != 0 || got.CostsFrom != 0 {
		t.Errorf("advice %+v, want to clear the room today", got)
	}
	if got.Sure {
		t.Error("with 300 kg the break would pay, so the advice is not sure")
	}
	if got.GainLikely != 32_000-42_743 {
		t.Errorf("keeping would earn %d, want −107.43", got.GainLikely)
	}
}

// A weak break before a strong one is waited for when both together pay.
func TestLooksBeyondTheNextBreak(t *testing.T) {
	t.Parallel()
	in := room()
	in.Breaks = []endcrop.Break{{2, 7, 100_000, 200_000, 300_000}, {3, 15, 500_000, 600_000, 700_000}}
	if got := advise(t, in); got.KeepThrough != 3 || got.ClearOn != 16 {
		t.Errorf("advice %+v, want to keep through break 3", got)
	}
}

// With no compost before day 10 the room's days until then cost nothing.
func TestRoomThatCannotBeRefilledIsNotHurried(t *testing.T) {
	t.Parallel()
	in := room()
	in.Breaks = []endcrop.Break{{3, 7, 100_000, 200_000, 300_000}}
	in.BusyDays = 10
	got := advise(t, in)
	if got.Verdict != endcrop.AnotherBreak || got.GainLikely != 32_000 || got.CostsFrom < 10 {
		t.Errorf("advice %+v, want another break worth 320.00", got)
	}
	in.Breaks = nil
	if got = advise(t, in); got.Verdict != endcrop.ClearRoom || got.CostsFrom != 10 || got.Next.Days != 0 {
		t.Errorf("advice %+v without any break to come, want to clear, costing money from day 10", got)
	}
}

func TestSpreadingDiseaseEndsTheCrop(t *testing.T) {
	t.Parallel()
	in := room()
	in.Breaks = []endcrop.Break{{2, 7, 400_000, 600_000, 700_000}}
	in.Incident = &endcrop.Incident{LossNow: 10_000, GrowthPerMille: 0}
	if got := advise(t, in); got.Verdict != endcrop.AnotherBreak || got.NextNet.Incident != 0 {
		t.Errorf("advice %+v, want another break: the loss does not grow", got)
	}
	in.Incident.GrowthPerMille = 300
	got := advise(t, in)
	// 100.00 growing by 30 % a day, each day rounded: 130.00, 169.00, 219.70,
	// 285.61, 371.29, 482.68, 627.48, 815.72 → 715.72 more after 8 days.
	if got.NextNet.Incident != 71_572 || got.Verdict != endcrop.ClearRoom {
		t.Errorf("advice %+v, want to clear: waiting costs 715.72 in disease", got)
	}
}

func TestMoreMushroomsNeverLowerTheGain(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := room()
		low := rapid.Int64Range(0, 500_000).Draw(t, "low")
		in.Breaks = []endcrop.Break{{2, rapid.IntRange(0, 20).Draw(t, "last"), low, low + rapid.Int64Range(0, 500_000).Draw(t, "more"), 1_000_000}}
		in.BusyDays = rapid.IntRange(0, 30).Draw(t, "busy")
		a, err := endcrop.Advise(in)
		if err != nil {
			t.Fatalf("Advise: %v", err)
		}
		if a.GainLow > a.GainLikely || a.GainLikely > a.GainHigh {
			t.Fatalf("gains fall: %+v", a)
		}
		if (a.GainLikely > 0) != (a.Verdict == endcrop.AnotherBreak) {
			t.Fatalf("advice %v with a likely gain of %d", a.Verdict, a.GainLikely)
		}
		if n := a.NextNet; n.Net != n.Sales-n.PickingAndHandling-n.Room-n.Incident {
			t.Fatalf("account %+v does not add up", n)
		}
		in.Breaks[0].Likely += (1_000_000 - in.Breaks[0].Likely) / 2
		b, err := endcrop.Advise(in)
		if err != nil || b.GainLikely < a.GainLikely {
			t.Fatalf("more mushrooms lowered the gain from %d to %d (%v)", a.GainLikely, b.GainLikely, err)
		}
	})
}

func TestAdviseRefuses(t *testing.T) {
	t.Parallel()
	for field, spoil := range map[string]func(*endcrop.Input){
		"price per kg":         func(in *endcrop.Input) { in.Margin.PricePerKg = -1 },
		"fresh cycle":          func(in *endcrop.Input) { in.Fresh.Breaks = nil },
		"idle days":            func(in *endcrop.Input) { in.Fresh.IdleDays = 4000 },
		"grams of a break":     func(in *endcrop.Input) { in.Breaks = []endcrop.Break{{1, 1, 3, 2, 4}} },
		"breaks":               func(in *endcrop.Input) { in.Breaks = []endcrop.Break{{1, 9, 1, 1, 1}, {2, 8, 1, 1, 1}} },
		"last day of a break":  func(in *endcrop.Input) { in.Breaks = []endcrop.Break{{1, -1, 1, 1, 1}} },
		"loss of the incident": func(in *endcrop.Input) { in.Incident = &endcrop.Incident{LossNow: -1} },
	} {
		in := room()
		spoil(&in)
		_, err := endcrop.Advise(in)
		var refused *endcrop.InputError
		if !errors.As(err, &refused) || refused.Field != field {
			t.Errorf("spoilt %s: %v", field, err)
		}
	}
	in := room()
	in.Fresh.FillToFirstPick, in.Fresh.CookOutDays, in.Fresh.IdleDays = 0, 0, 0
	in.Fresh.Breaks = []endcrop.FreshBreak{{1, 0}}
	if _, err := endcrop.Advise(in); err == nil {
		t.Error("a cycle of no days was accepted")
	}
}

func TestRateRoundsHalfAwayFromZero(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		r    endcrop.Rate
		want int64
	}{{endcrop.Rate{5, 2}, 3}, {endcrop.Rate{-5, 2}, -3}, {endcrop.Rate{4, 3}, 1}, {endcrop.Rate{-4, 3}, -1}, {endcrop.Rate{0, 7}, 0}} {
		if got := c.r.PerDay(); got != c.want {
			t.Errorf("%+v is %d a day, want %d", c.r, got, c.want)
		}
	}
}
