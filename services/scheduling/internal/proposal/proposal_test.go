package proposal_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/fillplan"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/proposal"
)

// Every gram of the usual yield falls into a week and a kind, none twice.
func TestYieldAddsUp(t *testing.T) {
	t.Parallel()
	all, err := programme.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SampledFrom(all).Draw(t, "programme")
		area := rapid.Int64Range(1, 3000).Draw(t, "area")
		dates, err := calendar.Compute(calendar.Crop{ID: "c", Programme: p, Fill: monday.Add(rapid.IntRange(0, 30).Draw(t, "fill"))}, nil)
		if err != nil {
			t.Fatalf("%v", err)
		}
		kinds := map[programme.Product]int{}
		for i, k := range p.Products() {
			kinds[k] = i
		}
		rows := make([][]int64, len(kinds))
		for i := range rows {
			rows[i] = make([]int64, 60)
		}
		proposal.Weekly(rows, kinds, monday, p, area, dates)
		var total int64
		for _, row := range rows {
			for w, grams := range row {
				if grams < 0 || (grams > 0 && monday.Add(7*w+6) < dates.FirstPick.Expected) {
					t.Errorf("week %d bears %d g, first pick %s", w, grams, dates.FirstPick.Expected)
				}
				total += grams
			}
		}
		if want := p.Breaks.Yield.Usual * area; total != want {
			t.Errorf("%s bears %d g, want %d", p.ID, total, want)
		}
	})
}

// The instance: weeks, compost and cost of a fill from the programme's own figures.
func TestBuild(t *testing.T) {
	t.Parallel()
	c := plain(t, 10)
	c.Crops = []proposal.Crop{
		standing(t, c, "old", "room-0", "white-bulk-2", monday.Add(-60), true),
		standing(t, c, "next", "room-1", "white-bulk-2", monday.Add(8), false),
	}
	c.Slots[1].GrantedKg = 25_000
	p := build(t, c)
	in := p.Instance
	bulk := slices.IndexFunc(in.Programmes, func(g fillplan.Programme) bool { return g.ID == "white-bulk-2" })
	bags := 1 - bulk
	// 74 days from filling to the empty room are 11 weeks; 99.3 kg of compost are
	// counted as 100; bags take none from a yard.
	prog := c.Programmes[bulk]
	if days := prog.Cycle().Usual; in.Programmes[bulk].Weeks != int(days+6)/7 || in.Programmes[bulk].CompostKg != 100 || in.Programmes[bags].CompostKg != 0 {
		t.Errorf("programme %+v of %d days", in.Programmes[bulk], days)
	}
	var minutes int64
	for _, s := range prog.Stages {
		minutes += s.WorkMinutes.Value
	}
	if want := float64(prog.Inputs.Compost.Grams)*9000/1e6 + float64(prog.Inputs.Spawn.Grams)*300/1e3 + float64(minutes)*1500/60; int64(want+0.5) != in.Programmes[bulk].CostCents {
		t.Errorf("a square metre costs %d cents, want %.2f", in.Programmes[bulk].CostCents, want)
	}
	// The running crop bears and holds its room; so does the planned one, whose
	// compost is taken, within what was granted already.
	for room, crop := range map[int]proposal.Crop{0: c.Crops[0], 1: c.Crops[1]} {
		if free := monday.Add(7 * in.Rooms[room].Free); crop.Free < free || crop.Free >= free.Add(7) {
			t.Errorf("room %d is free in the week of %s, the crop leaves on %s", room, free, crop.Free)
		}
	}
	if in.SupplyGrams[0][0] == 0 {
		t.Error("the running crop bears nothing")
	}
	diff := func(what string, want, got []int64) {
		if !slices.Equal(want, got) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	// 25,000 kg granted, 19,860 kg planned: the larger is taken. Weeks without
	// published slots are reckoned at the mean of those with.
	diff("yard", []int64{40_000, 15_000, 40_000, 40_000, 40_000, 40_000, 40_000, 40_000, 40_000, 40_000}, in.YardKg)
	if p.Yard[3].Reckoned || !p.Yard[4].Reckoned || len(p.Notes) != 1 {
		t.Errorf("yard %+v, notes %v", p.Yard, p.Notes)
	}
	kg := int64(12_000)
	c.UnpublishedKg = &kg
	diff("yard as set", []int64{40_000, 15_000, 40_000, 40_000, 12_000, 12_000, 12_000, 12_000, 12_000, 12_000}, build(t, c).Instance.YardKg)

	c.Wishes.Replan = true
	anew := build(t, c)
	fill := fillplan.Fill{Room: 1, Programme: bulk, Week: 1}
	if len(anew.Planned) != 1 || anew.Planned[fill].ID != "next" || !slices.Equal(anew.Wishes.Accepted, []fillplan.Fill{fill}) || anew.Instance.Rooms[1].Free != 0 {
		t.Errorf("to be planned anew: %v", anew.Planned)
	}
	// What was granted beyond the crop that may move stays taken.
	if got := anew.Instance.YardKg[1]; got != 40_000-(25_000-19_860) {
		t.Errorf("yard beside the grant %d", got)
	}
}

// Fills read back from any plan lie on open days, after the compost is ready and
// the room is free, and the calendar takes them all.
func TestPlansReadBackOntoDays(t *testing.T) {
	t.Parallel()
	rules, err := calendar.NewRules([]calendar.Rule{{Stage: programme.Filling, Weekdays: []time.Weekday{time.Sunday, time.Saturday}}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		c := plain(t, 24)
		c.Rules = rules
		c.Wishes.Replan = rapid.Bool().Draw(t, "replan")
		if rapid.Bool().Draw(t, "running") {
			c.Crops = append(c.Crops, standing(t, c, "old", "room-0", "white-bulk-2", monday.Add(-rapid.IntRange(1, 70).Draw(t, "old")), true))
		}
		if rapid.Bool().Draw(t, "planned") {
			c.Crops = append(c.Crops, standing(t, c, "next", "room-1", "white-bulk-2", monday.Add(rapid.IntRange(0, 4).Draw(t, "next")), false))
		}
		p := build(t, c)
		result := solve(t, p, 100)
		fills, dropped, err := p.Read(result.Plan)
		if err != nil {
			t.Fatalf("%v", err)
		}
		var crops []calendar.Crop
		for i, d := range fills {
			crops = append(crops, calendar.Crop{
				ID: fmt.Sprint("fill-", i), Programme: c.Programmes[d.Programme], Fill: d.FillDate, Facilities: map[programme.Place]string{programme.GrowingRoom: c.Rooms[d.Room].ID},
			})
			if d.CropID == "" && (d.FillDate < d.Week || d.FillDate >= d.Week.Add(11)) {
				t.Errorf("the fill of the week of %s falls on %s", d.Week, d.FillDate)
			}
			if open, why := rules.Open(programme.Filling, d.FillDate); !open && d.CropID == "" {
				t.Errorf("filled on %s: %s", d.FillDate, why)
			}
		}
		gone := map[string]bool{}
		for _, crop := range dropped {
			gone[crop.ID] = true
		}
		for _, crop := range c.Crops {
			kept := slices.ContainsFunc(fills, func(d proposal.Dated) bool { return d.CropID == crop.ID })
			if gone[crop.ID] == kept && (gone[crop.ID] || c.Wishes.Replan && !crop.Begun) {
				t.Errorf("%s is dropped %v and kept %v", crop.ID, gone[crop.ID], kept)
			}
			if !gone[crop.ID] && !kept {
				whole := calendar.Crop{ID: crop.ID, Programme: crop.Programme, Fill: crop.Fill, Facilities: map[programme.Place]string{programme.GrowingRoom: crop.RoomID}}
				if crop.Begun {
					whole.Recorded = []calendar.Record{{Stage: programme.Filling, On: crop.Fill}}
				}
				crops = append(crops, whole)
			}
		}
		dates, err := calendar.Recompute(crops, rules)
		if err != nil {
			t.Fatalf("%v", err)
		}
		if clashes := calendar.Conflicts(crops, dates, rules); len(clashes) > 0 {
			t.Errorf("the plan clashes: %v", clashes)
		}
	})
}

// What a farm bears beyond its part by member shares, and work beyond what it can
// do, cost what was set; the prices drawn from that charge the farms and weeks they
// come from.
func TestUnevenness(t *testing.T) {
	t.Parallel()
	c := plain(t, 12)
	// All that stands is gorse's, which has a quarter of the shares.
	c.Crops = []proposal.Crop{standing(t, c, "old", "room-2", "white-bulk-2", monday.Add(-60), true)}
	c.Wishes.BalanceCentsPerKg = 100
	p := build(t, c)
	reports, err := p.Farms(nil)
	if err != nil {
		t.Fatal(err)
	}
	if want := (reports[1].Grams - reports[1].Fair) * 100; !p.Even() || want <= 0 || p.UnevenM(nil) != want {
		t.Errorf("unevenness costs %d, want %d", p.UnevenM(nil), want)
	}
	bulk := slices.IndexFunc(c.Programmes, func(g *programme.Programme) bool { return g.ID == "white-bulk-2" })
	even := p.Evener(nil)
	if f := (fillplan.Fill{Room: 0, Programme: bulk, Week: 0}); even.Wishes.ChargeM[f] >= 0 {
		t.Errorf("elm, which bears too little, is charged %d", even.Wishes.ChargeM[f])
	}
	bags := fillplan.Fill{Room: 3, Programme: 1 - bulk, Week: 0}
	if even.Wishes.ChargeM[bags] <= 0 || p.Wishes.ChargeM != nil {
		t.Errorf("gorse, which bears too much, is charged %d", even.Wishes.ChargeM[bags])
	}

	c.Wishes = proposal.Wishes{FarmMinutes: 600, PeakPerHour: 6000}
	p = build(t, c)
	if reports, err = p.Farms(nil); err != nil {
		t.Fatal(err)
	}
	if reports[0].PeakWeek != -1 || reports[0].Grams != 0 || reports[1].WeeksOverLimit == 0 || reports[1].PeakMinutes <= 600 || reports[0].Fair != reports[1].Fair*3 {
		t.Errorf("farms %+v", reports)
	}
	if least := (reports[1].PeakMinutes - 600) * 100_000; p.UnevenM(nil) < least {
		t.Errorf("work beyond the limit costs %d, the peak alone is %d", p.UnevenM(nil), least)
	}
	even = p.Evener(nil)
	if even.Wishes.ChargeM[bags] <= 0 || even.Wishes.ChargeM[fillplan.Fill{Room: 0, Programme: bulk, Week: 0}] != 0 {
		t.Errorf("work peaks charge %v", even.Wishes.ChargeM)
	}
	c.Wishes = proposal.Wishes{FarmMinutes: 600}
	if p = build(t, c); p.Even() || p.UnevenM(nil) != 0 {
		t.Errorf("without a price unevenness costs %d", p.UnevenM(nil))
	}
}

// Plans made with the prices of unevenness are more even than those without.
func TestPlansBecomeMoreEven(t *testing.T) {
	t.Parallel()
	c := plain(t, 30)
	c.Rooms = nil
	for i := range 8 { // elm's rooms cost no more to fill than gorse's, and come first
		c.Rooms = append(c.Rooms, proposal.Room{ID: fmt.Sprintf("room-%d", i), FarmID: []string{"elm", "gorse"}[i/4], AreaM2: 200, System: programme.BulkPhaseII})
	}
	c.Farms[0].Shares = 2 // of 12
	c.Kinds[0].DemandGrams = slices.Repeat([]int64{1_000_000}, 30)
	c.Wishes.BalanceCentsPerKg = 200
	p := build(t, c)
	cost := func(fills []fillplan.Fill) int64 {
		return fillplan.Evaluate(p.Instance, fills).M() + p.UnevenM(fills)
	}
	first := solve(t, p, 4000).Plan.Fills
	least, last, priced := cost(first), first, p
	for range 4 {
		priced = priced.Evener(last)
		last = solve(t, priced, 4000).Plan.Fills
		least = min(least, cost(last))
	}
	if p.UnevenM(first) == 0 || least >= cost(first) {
		t.Errorf("uneven by %d, at %d with it; at best %d", p.UnevenM(first), cost(first), least)
	}
}

func TestChoicesThatCannotBe(t *testing.T) {
	t.Parallel()
	for field, choice := range map[string]proposal.Choice{
		"room_id":      {RoomID: "nowhere", ProgrammeID: "white-bulk-2", Week: monday},
		"programme_id": {RoomID: "room-3", ProgrammeID: "white-bulk-2", Week: monday},
		"week":         {RoomID: "room-0", ProgrammeID: "white-bulk-2", Week: monday.Add(-7)},
	} {
		for _, keep := range []bool{true, false} {
			c := plain(t, 6)
			if keep {
				c.Wishes.Keep = []proposal.Choice{{RoomID: "room-0", ProgrammeID: "white-bulk-2", Week: monday}, choice}
			} else {
				c.Wishes.Forbid = []proposal.Choice{{RoomID: "room-0", ProgrammeID: "white-bulk-2", Week: monday}, choice}
			}
			_, err := proposal.Build(c)
			var wrong *proposal.ChoiceError
			if !errors.As(err, &wrong) || wrong.Field != field || wrong.Index != 1 || wrong.Kept != keep {
				t.Errorf("%s, keep %v: %v", field, keep, err)
			}
		}
	}
}
