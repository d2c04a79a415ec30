package proposal_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/fillplan"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/proposal"
)

type fataler interface {
	Helper()
	Fatalf(format string, args ...any)
}

var monday = calendar.On(2026, time.March, 9)

var shipped = sync.OnceValues(programme.Builtin)

func builtin(t fataler, ids ...string) []*programme.Programme {
	t.Helper()
	all, err := shipped()
	if err != nil {
		t.Fatalf("%v", err)
	}
	return slices.DeleteFunc(slices.Clone(all), func(p *programme.Programme) bool { return !slices.Contains(ids, p.ID) })
}

// plain is a co-op of two farms with three bulk rooms and a bag room, slots on
// Tuesdays for four weeks, and a steady demand.
func plain(t fataler, weeks int) *proposal.Case {
	t.Helper()
	closed := programme.Product{Species: "white mushroom", Stage: programme.Closed}
	oyster := programme.Product{Species: "oyster mushroom"}
	steady := func(grams int64) []int64 {
		out := make([]int64, weeks)
		for w := range out {
			out[w] = grams
		}
		return out
	}
	c := &proposal.Case{
		First: monday, Today: monday.Add(-3), Weeks: weeks,
		Kinds: []proposal.Kind{
			{Product: closed, ShortCents: 450, OverCents: 50, DemandGrams: steady(500_000)},
			{Product: oyster, ShortCents: 900, OverCents: 50, DemandGrams: steady(80_000)},
		},
		Programmes: builtin(t, "white-bulk-2", "oyster-bags"),
		Farms:      []proposal.Farm{{ID: "elm", Shares: 30}, {ID: "gorse", Shares: 10}},
		Prices:     proposal.Prices{CompostPerTonne: 9000, SpawnPerKg: 300, LabourPerHour: 1500},
	}
	for i, farm := range []string{"elm", "elm", "gorse", "gorse"} {
		r := proposal.Room{ID: fmt.Sprintf("room-%d", i), FarmID: farm, AreaM2: 200, System: programme.BulkPhaseII}
		if i == 3 {
			r.System = programme.BagsOrBlocks
		}
		c.Rooms = append(c.Rooms, r)
	}
	for w := range 4 {
		c.Slots = append(c.Slots, proposal.Slot{YardID: "quarry", Ready: monday.Add(7*w + 1), Phase: 2, CapacityKg: 40_000})
	}
	return c
}

func standing(t fataler, c *proposal.Case, id, roomID string, programmeID string, fill calendar.Date, begun bool) proposal.Crop {
	t.Helper()
	p := builtin(t, programmeID)[0]
	crop := calendar.Crop{ID: id, Programme: p, Fill: fill}
	if begun {
		crop.Recorded = []calendar.Record{{Stage: programme.Filling, On: fill}}
	}
	dates, err := calendar.Compute(crop, c.Rules)
	if err != nil {
		t.Fatalf("%v", err)
	}
	room := c.Rooms[slices.IndexFunc(c.Rooms, func(r proposal.Room) bool { return r.ID == roomID })]
	return proposal.Crop{
		ID: id, RoomID: roomID, FarmID: room.FarmID, Programme: p, AreaM2: room.AreaM2, Calendar: dates, Fill: fill, Free: dates.Free.Expected, Begun: begun,
	}
}

func build(t fataler, c *proposal.Case) *proposal.Problem {
	t.Helper()
	p, err := proposal.Build(c)
	if err != nil {
		t.Fatalf("%v", err)
	}
	return p
}

func solve(t fataler, p *proposal.Problem, steps int64) fillplan.Result {
	t.Helper()
	// The deadline only guards; the steps end the search.
	result, err := fillplan.Solve(context.Background(), p.Instance, fillplan.Options{Steps: steps, Seed: 1, Wishes: p.Wishes})
	if err != nil {
		t.Fatalf("%v", err)
	}
	return result
}

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

// Plans over a yard's tonnes are found by phase, as far as slots are published.
func TestOverPublished(t *testing.T) {
	t.Parallel()
	c := plain(t, 6)
	for i, day := range []int{0, 1, 2} { // 59,580 kg in a week that gives 40,000
		c.Crops = append(c.Crops, standing(t, c, fmt.Sprint("crop-", i), fmt.Sprint("room-", i), "white-bulk-2", monday.Add(7+day), false))
	}
	want := []proposal.PhaseWeek{{Phase: 2, Week: 1, CapacityKg: 40_000, NeedKg: 59_580}}
	if got := proposal.OverPublished(c); !slices.Equal(got, want) {
		t.Errorf("over %v, want %v", got, want)
	}
	c.Crops[0].Begun = true // its compost is in the room
	if got := proposal.OverPublished(c); len(got) > 0 {
		t.Errorf("over %v", got)
	}
	c.Crops[0].Begun = false
	c.Slots = c.Slots[:1] // nothing published for that week yet
	if got := proposal.OverPublished(c); len(got) > 0 {
		t.Errorf("over %v", got)
	}
}

// A fill waits for its compost and for its room: the later of the two counts, and
// in a week without slots the Monday.
func TestReadWaitsForRoomAndCompost(t *testing.T) {
	t.Parallel()
	c := plain(t, 8)
	bulk := slices.IndexFunc(c.Programmes, func(g *programme.Programme) bool { return g.ID == "white-bulk-2" })
	length := int(c.Programmes[bulk].Cycle().Usual)
	thursday := monday.Add(10)
	c.Crops = []proposal.Crop{standing(t, c, "old", "room-0", "white-bulk-2", thursday.Add(-length), true)}
	p := build(t, c)
	if p.Instance.Rooms[0].Free != 1 {
		t.Fatalf("a room free on a Thursday can be filled in week %d", p.Instance.Rooms[0].Free)
	}
	fills, _, err := p.Read(fillplan.Plan{Instance: p.Instance.Name, Fills: []fillplan.Fill{
		{Room: 2, Programme: bulk, Week: 5}, {Room: 0, Programme: bulk, Week: 1}, {Room: 1, Programme: bulk, Week: 1},
	}})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []calendar.Date{thursday, monday.Add(8), monday.Add(35)} {
		if fills[i].Room != i || fills[i].FillDate != want {
			t.Errorf("room %d is filled on %s, want %s", fills[i].Room, fills[i].FillDate, want)
		}
	}
}

// Where rooms need two phases, a week's capacity counts them together; a plan that
// asks too much of one is mended until each phase can serve it.
func TestEveryPhaseIsServed(t *testing.T) {
	t.Parallel()
	c := plain(t, 20)
	c.Programmes = builtin(t, "white-bulk-2", "white-bulk-3", "oyster-bags")
	for i := range 3 {
		c.Rooms = append(c.Rooms, proposal.Room{ID: fmt.Sprintf("third-%d", i), FarmID: "elm", AreaM2: 200, System: programme.BulkPhaseIII})
	}
	c.Slots = nil
	for w := range 8 {
		c.Slots = append(c.Slots,
			proposal.Slot{YardID: "quarry", Ready: monday.Add(7*w + 1), Phase: 2, CapacityKg: 21_000},
			proposal.Slot{YardID: "moss", Ready: monday.Add(7*w + 2), Phase: 3, CapacityKg: 45_000})
	}
	c.Kinds[0].DemandGrams = slices.Repeat([]int64{3_000_000}, 20)
	p := build(t, c)
	bulk := slices.IndexFunc(c.Programmes, func(g *programme.Programme) bool { return g.ID == "white-bulk-2" })
	greedy := fillplan.Plan{Instance: p.Instance.Name}
	for room := range 3 {
		greedy.Fills = append(greedy.Fills, fillplan.Fill{Room: room, Programme: bulk, Week: 1})
	}
	over, err := p.TooMuch(greedy)
	if err != nil || len(over) != 2 {
		t.Errorf("of three fills in a week that serves one, give up %v (%v)", over, err)
	}
	rounds := 0
	for result := solve(t, p, 500); ; result = solve(t, p, 500) {
		over, err := p.TooMuch(result.Plan)
		if err != nil {
			t.Fatal(err)
		}
		if len(over) == 0 {
			greedy = result.Plan
			break
		}
		if rounds++; rounds > 50 {
			t.Fatalf("not mended after %d rounds: %v", rounds, over)
		}
		p = p.Without(over)
	}
	need := map[[2]int]int64{}
	for _, f := range greedy.Fills {
		need[[2]int{f.Week, c.Programmes[f.Programme].System.CompostPhase()}] += proposal.CompostKg(c.Programmes[f.Programme], c.Rooms[f.Room].AreaM2)
	}
	for k, kg := range need {
		if capacity := map[int]int64{2: 21_000, 3: 45_000}[k[1]]; k[0] < 8 && k[1] > 0 && kg > capacity {
			t.Errorf("week %d takes %d kg of phase %d, the slots give %d", k[0], kg, k[1], capacity)
		}
	}
	if down, err := p.YardDown("moss", 0, 2); err != nil || down.Instance.YardKg[1] != 21_000 || down.Instance.YardKg[2] != 66_000 || p.Instance.YardKg[1] != 66_000 {
		t.Errorf("a yard down: %v, %v", down.Instance.YardKg, err)
	}
}

// A product without a stage takes its species at any stage; one with a stage takes
// that stage first.
func TestAnyStageWillDo(t *testing.T) {
	t.Parallel()
	p := builtin(t, "shiitake-blocks")[0]
	dates, err := calendar.Compute(calendar.Crop{ID: "c", Programme: p, Fill: monday}, nil)
	if err != nil {
		t.Fatal(err)
	}
	whole := programme.Product{Species: "shiitake"}
	part := p.Products()[0]
	for _, kinds := range []map[programme.Product]int{{whole: 0}, {whole: 0, part: 1}} {
		rows := make([][]int64, len(kinds))
		for i := range rows {
			rows[i] = make([]int64, 60)
		}
		proposal.Weekly(rows, kinds, monday, p, 10, dates)
		var got []int64
		for _, row := range rows {
			var sum int64
			for _, grams := range row {
				sum += grams
			}
			got = append(got, sum)
		}
		total := p.Breaks.Yield.Usual * 10
		switch {
		case len(got) == 1 && got[0] != total:
			t.Errorf("at any stage %d g, want all %d", got[0], total)
		case len(got) == 2 && (got[0]+got[1] != total || got[1] == 0 || got[0] == 0):
			t.Errorf("at any stage %d g and %q %d g, want %d in all", got[0], part.Stage, got[1], total)
		}
	}
	if !proposal.Sells(p, whole) || !proposal.Sells(p, part) || proposal.Sells(p, programme.Product{Species: "oyster mushroom"}) {
		t.Error("what the programme sells")
	}
}

// What bears only after the weeks planned is not proposed for nothing.
func TestTrimLeavesOutIdleFills(t *testing.T) {
	t.Parallel()
	c := plain(t, 8)
	c.Prices = proposal.Prices{}
	bulk := slices.IndexFunc(c.Programmes, func(g *programme.Programme) bool { return g.ID == "white-bulk-2" })
	c.Wishes.Keep = []proposal.Choice{{RoomID: "room-2", ProgrammeID: "white-bulk-2", Week: monday.Add(49)}}
	p := build(t, c)
	early, late, kept := fillplan.Fill{Room: 0, Programme: bulk}, fillplan.Fill{Room: 1, Programme: bulk, Week: 7}, fillplan.Fill{Room: 2, Programme: bulk, Week: 7}
	got := p.Trim(fillplan.Plan{Fills: []fillplan.Fill{early, late, kept}}).Fills
	if !slices.Equal(got, []fillplan.Fill{early, kept}) {
		t.Errorf("left are %v", got)
	}
}
