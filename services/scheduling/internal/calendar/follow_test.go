package calendar_test

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

// Crops that wait never come earlier, no two of them meet each other or a running
// crop, and once they wait nobody has to wait again.
func TestFollowFreesEveryRoomAndTunnel(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rules := sundayRules(t)
		crops := make([]calendar.Crop, rapid.IntRange(1, 5).Draw(t, "crops"))
		for i := range crops {
			id := rapid.SampledFrom([]string{"white-bulk-2", "white-trays", "oyster-bags"}).Draw(t, "programme")
			c := crop(t, id, "2026-04-06")
			c.ID, c.Fill = fmt.Sprintf("crop-%d", i), c.Fill.Add(rapid.IntRange(0, 200).Draw(t, "fill"))
			c.Facilities[programme.GrowingRoom] = fmt.Sprintf("room-%d", rapid.IntRange(1, 2).Draw(t, "room"))
			if i == 0 && rapid.Bool().Draw(t, "begun") {
				c.Recorded = []calendar.Record{{Stage: programme.Filling, On: c.Fill.Add(4)}}
			}
			crops[i] = c
		}
		moves, stuck, err := calendar.Follow(crops, rules)
		if err != nil || len(stuck) > 0 {
			t.Fatalf("stuck %v: %v", stuck, err)
		}
		for _, m := range moves {
			for i := range crops {
				if crops[i].ID == m.Crop {
					until := crops[i].Fill.Add(m.Days)
					crops[i].NotBefore = &until
				}
			}
			if m.Days < 1 {
				t.Errorf("%s comes earlier", m.Crop)
			}
		}
		dates, err := calendar.Recompute(crops, rules)
		if err != nil {
			t.Fatalf("%v", err)
		}
		if got := calendar.Conflicts(crops, dates, rules); len(got) > 0 {
			t.Errorf("still in each other's way: %v", got)
		}
		if again, _, err := calendar.Follow(crops, rules); err != nil || len(again) > 0 {
			t.Errorf("wait again: %v, %v", again, err)
		}
	})
}

// A stage that is overdue begins on the day it is held up to at the earliest, the
// rest after it; one that was not due yet is not touched.
func TestNotBefore(t *testing.T) {
	t.Parallel()
	c := crop(t, "white-bulk-2", "2026-04-06")
	c.Recorded = []calendar.Record{{Stage: programme.Filling, On: c.Fill}, {Stage: programme.SpawnRun, On: c.Fill}}
	before := compute(t, c, nil)
	casing, _ := before.Stage(programme.Casing)
	for _, days := range []int{-3, 0, 4, 40} {
		until := casing.Start.Add(days)
		c.NotBefore = &until
		after := compute(t, c, nil)
		for _, s := range before.Stages {
			got, _ := after.Stage(s.Stage)
			want := s.Start
			if s.Start >= casing.Start {
				want = want.Add(max(0, days))
			}
			if got.Start != want || got.Earliest > got.Start || got.Latest < got.Start {
				t.Errorf("held up by %d days: %s begins on %s (%s to %s), want %s", days, s.Stage, got.Start, got.Earliest, got.Latest, want)
			}
		}
	}
}

// Steps that follow by themselves are not waited for: after spawning, the next
// thing that somebody does is.
func TestAwaited(t *testing.T) {
	t.Parallel()
	for _, p := range programmes(t) {
		kinds := make([]programme.StageKind, len(p.Stages))
		for i, s := range p.Stages {
			kinds[i] = s.Kind
		}
		kind := func(i int) programme.StageKind { return kinds[i] }
		last := slices.Index(kinds, programme.Filling)
		if got := calendar.Awaited(len(kinds), kind, func(int) bool { return false }); got != last {
			t.Errorf("%s waits for stage %d, want filling", p.ID, got)
		}
		for i := range kinds {
			got := calendar.Awaited(len(kinds), kind, func(j int) bool { return j == i })
			if got < len(kinds) && (got < last || got <= i && i >= last || kinds[got] == programme.SpawnRun || kinds[got] == programme.CaseRun || kinds[got] == programme.Idle) {
				t.Errorf("%s after %s waits for %s", p.ID, kinds[i], kinds[got])
			}
		}
	}
}
