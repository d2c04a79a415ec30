package calendar_test

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

// pair is two crops in one growing room: the first holds it from 2 March until 26
// May 2026.
func pair(t *testing.T, id, fill string) []calendar.Crop {
	t.Helper()
	a, b := crop(t, "white-shelves", "2026-03-02"), crop(t, id, fill)
	a.ID, b.ID = "early", "late"
	return []calendar.Crop{a, b}
}

func conflicts(t *testing.T, crops []calendar.Crop, rules *calendar.Rules) []calendar.Conflict {
	t.Helper()
	calendars, err := calendar.Recompute(crops, rules)
	if err != nil {
		t.Fatal(err)
	}
	return calendar.Conflicts(crops, calendars, rules)
}

func TestConflictNamesBothAndTheLeastMove(t *testing.T) {
	t.Parallel()
	crops := pair(t, "oyster-bags", "2026-05-20")
	want := []calendar.Conflict{{
		Place: programme.GrowingRoom, Facility: "room-1", First: "early", Second: "late",
		From: date(t, "2026-05-20"), Until: date(t, "2026-05-26"), Move: &calendar.Shift{Crop: "late", Days: 6},
	}}
	got := conflicts(t, crops, nil)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Fatalf("(-want +got):\n%s", diff)
	}
	if s, want := got[0].String(), `growing room room-1 is held by crop "early" and crop "late" from 2026-05-20 until 2026-05-26; moving crop "late" by +6 days frees it`; s != want {
		t.Errorf("says %q, want %q", s, want)
	}
	// The given move resolves it: 26 May is a day of emptying and filling.
	crops[1].Fill = crops[1].Fill.Add(6)
	if left := conflicts(t, crops, nil); len(left) != 0 {
		t.Errorf("after the move: %v", left)
	}
}

func TestLeastMoveRespectsRulesThirdCropsAndWhatHasBegun(t *testing.T) {
	t.Parallel()
	crops := pair(t, "oyster-bags", "2026-05-20")
	third := crop(t, "oyster-bags", "2026-08-03") // the late crop would run until 7 August
	third.ID = "third"
	crops = append(crops, third)
	got := conflicts(t, crops, sundayRules(t))
	if len(got) == 0 || got[0].Move == nil {
		t.Fatalf("conflicts %v", got)
	}
	// Moving "late" later would meet "third", so "early" goes. Six days would do
	// but for the cook-out, which would fall on Sunday 17 May and wait a day.
	if diff := cmp.Diff(&calendar.Shift{Crop: "early", Days: -7}, got[0].Move); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	// Once the early crop has begun only the late one can go: past the third, which
	// is nearer (15 October) than before the early one (19 December).
	crops[0].Recorded = []calendar.Record{{Stage: programme.Filling, On: crops[0].Fill}}
	got = conflicts(t, crops, nil)
	if got[0].Move == nil || got[0].Move.Crop != "late" || got[0].Move.Days != 148 {
		t.Errorf("move %+v, want the late crop 148 days later", got[0].Move)
	}
	crops[1].Recorded = []calendar.Record{{Stage: programme.Filling, On: crops[1].Fill}}
	if got = conflicts(t, crops, nil); got[0].Move != nil {
		t.Errorf("move %+v of crops that have begun", got[0].Move)
	}
}

// Crops filled from one tunnel load lie in the tunnel together; crops of two
// loads do not.
func TestTunnelLoadsAreShared(t *testing.T) {
	t.Parallel()
	a, b := crop(t, "white-bulk-2", "2026-03-02"), crop(t, "brown-bulk-2", "2026-03-02")
	a.ID, b.ID, a.Load, b.Load = "a", "b", "load-7", "load-7"
	b.Facilities = map[programme.Place]string{programme.Tunnel: "tunnel-1", programme.GrowingRoom: "room-2"}
	if got := conflicts(t, []calendar.Crop{a, b}, nil); len(got) != 0 {
		t.Errorf("one load in conflict: %v", got)
	}
	b.Load = "load-8"
	got := conflicts(t, []calendar.Crop{a, b}, nil)
	if len(got) != 1 || got[0].Place != programme.Tunnel || got[0].Facility != "tunnel-1" {
		t.Errorf("two loads: %v", got)
	}
}

// One room used for spawn run by one crop and for growing by another is one room.
func TestRoomIsOneWhateverItsUse(t *testing.T) {
	t.Parallel()
	a, b := crop(t, "white-shelves", "2026-03-02"), crop(t, "shiitake-blocks", "2026-03-02")
	a.ID, b.ID = "a", "b"
	b.Facilities = map[programme.Place]string{programme.SpawnRunRoom: "room-1", programme.GrowingRoom: "room-9"}
	if got := conflicts(t, []calendar.Crop{a, b}, nil); len(got) != 1 || got[0].Facility != "room-1" {
		t.Errorf("conflicts %v, want room-1 held twice", got)
	}
}

func TestMoveRefusesWhatHasBegun(t *testing.T) {
	t.Parallel()
	c := crop(t, "white-shelves", "2026-03-02")
	c.Recorded = []calendar.Record{{Stage: programme.Filling, On: c.Fill}}
	var begun *calendar.BegunError
	if _, _, err := calendar.Move(c, 3, nil); !errors.As(err, &begun) {
		t.Errorf("move: %v", err)
	}
	if _, _, err := calendar.Backward(c, c.Fill.Add(60), nil); !errors.As(err, &begun) {
		t.Errorf("backward: %v", err)
	}
}
