package proposal_test

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

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
