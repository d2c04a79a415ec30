package proposal_test

import (
	"fmt"
	"slices"
	"testing"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/fillplan"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/proposal"
)

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
