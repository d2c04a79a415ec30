package calendar_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

// Forwards from a fill, then backwards from the first pick that gave: without
// rules the same fill, with rules the same first pick.
func TestForwardsThenBackwardsReturns(t *testing.T) {
	t.Parallel()
	all, rules := programmes(t), sundayRules(t)
	rapid.Check(t, func(t *rapid.T) {
		c := drawCrop(t, all)
		forward := compute(t, c, nil)
		back, calendarBack, err := calendar.Backward(c, forward.FirstPick.Expected, nil)
		if err != nil {
			t.Fatal(err)
		}
		if back.Fill != c.Fill {
			t.Fatalf("filled %s, backwards %s", c.Fill, back.Fill)
		}
		if diff := cmp.Diff(forward, calendarBack); diff != "" {
			t.Fatalf("calendars differ:\n%s", diff)
		}
		forward, err = calendar.Forward(c, rules)
		var closed *calendar.ClosedDayError
		if errors.As(err, &closed) {
			return
		}
		_, calendarBack, err = calendar.Backward(c, forward.FirstPick.Expected, rules)
		if err != nil {
			t.Fatal(err)
		}
		if got, want := calendarBack.FirstPick.Expected, forward.FirstPick.Expected; got != want {
			t.Fatalf("first pick %s, backwards %s", want, got)
		}
	})
}

// Backwards with rules never plans work on a closed day that an open one could
// replace, and no filling day gives a first pick nearer to the wanted one.
func TestBackwardsIsNearest(t *testing.T) {
	t.Parallel()
	all, rules := programmes(t), sundayRules(t)
	rapid.Check(t, func(t *rapid.T) {
		c := drawCrop(t, all)
		wanted := c.Fill.Add(60)
		back, got, err := calendar.Backward(c, wanted, rules)
		if err != nil {
			t.Fatal(err)
		}
		if open, reason := rules.Open(programme.Filling, back.Fill); !open {
			t.Fatalf("filling on %s: %s", back.Fill, reason)
		}
		miss := max(got.FirstPick.Expected.Sub(wanted), wanted.Sub(got.FirstPick.Expected))
		for shift := -14; shift <= 14; shift++ {
			other, oc, err := calendar.Move(back, shift, rules)
			if err != nil {
				continue
			}
			if m := max(oc.FirstPick.Expected.Sub(wanted), wanted.Sub(oc.FirstPick.Expected)); m < miss {
				t.Fatalf("filling %s misses by %d, %s only by %d", back.Fill, miss, other.Fill, m)
			}
		}
	})
}

// Moving by d days and back changes nothing; a move that is refused changes
// nothing either.
func TestMoveAndBack(t *testing.T) {
	t.Parallel()
	all, rules := programmes(t), sundayRules(t)
	rapid.Check(t, func(t *rapid.T) {
		c := drawCrop(t, all)
		before, err := calendar.Forward(c, rules)
		if err != nil {
			return
		}
		d := rapid.IntRange(-200, 200).Draw(t, "d")
		moved, _, err := calendar.Move(c, d, rules)
		if err != nil {
			if moved.Fill != c.Fill {
				t.Fatalf("refused move left the fill on %s", moved.Fill)
			}
			return
		}
		again, after, err := calendar.Move(moved, -d, rules)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(c, again) + cmp.Diff(before, after); diff != "" {
			t.Fatal(diff)
		}
	})
}

// Whatever is recorded: recorded days stand as recorded, stages never overlap,
// windows hold their day, each stage keeps within its range or is flagged, and
// the order of the records does not matter.
func TestRecordedCalendarsAreSound(t *testing.T) {
	t.Parallel()
	all, rules := programmes(t), sundayRules(t)
	rapid.Check(t, func(t *rapid.T) {
		c := drawCrop(t, all)
		on := c.Fill.Add(rapid.IntRange(-20, 20).Draw(t, "first"))
		for i := range c.Programme.Stages {
			if rapid.Bool().Draw(t, "recorded") {
				c.Recorded = append(c.Recorded, calendar.Record{Stage: c.Programme.Stages[i].Kind, On: on})
			}
			on = on.Add(rapid.IntRange(0, 30).Draw(t, "days"))
		}
		got := compute(t, c, rules)
		for _, r := range c.Recorded {
			if s, _ := got.Stage(r.Stage); s.Start != r.On || !s.Recorded || s.Earliest != s.Start || s.Latest != s.Start {
				t.Fatalf("%s recorded on %s became %+v", r.Stage, r.On, s)
			}
		}
		for i, s := range got.Stages {
			if s.End < s.Start || s.Start < s.Earliest || s.Start > s.Latest {
				t.Fatalf("stage %+v", s)
			}
			if i > 0 && got.Stages[i-1].End != s.Start {
				t.Fatalf("%s ends %s, %s starts %s", got.Stages[i-1].Stage, got.Stages[i-1].End, s.Stage, s.Start)
			}
			days, span := int64(s.End.Sub(s.Start)), c.Programme.Stages[i].Days
			// Only what was recorded on its far side can push a stage out of range.
			laterRecord := slices.ContainsFunc(got.Stages[i+1:], func(l calendar.StageDates) bool { return l.Recorded })
			if !laterRecord && (days < span.Least || days > span.Most) {
				t.Fatalf("%s lasts %d days, range %d-%d, nothing recorded after it", s.Stage, days, span.Least, span.Most)
			}
		}
		shuffled := c
		shuffled.Recorded = rapid.Permutation(c.Recorded).Draw(t, "order")
		if diff := cmp.Diff(got, compute(t, shuffled, rules)); diff != "" {
			t.Fatalf("order of records matters:\n%s", diff)
		}
	})
}

// Once conflicts are resolved no room and no tunnel is doubly occupied, and what
// has begun stays where it was. Order of input does not matter.
func TestResolveLeavesNothingDoublyOccupied(t *testing.T) {
	t.Parallel()
	all, rules := programmes(t), sundayRules(t)
	rapid.Check(t, func(t *rapid.T) {
		crops := make([]calendar.Crop, rapid.IntRange(1, 12).Draw(t, "crops"))
		for i := range crops {
			crops[i] = drawCrop(t, all)
			crops[i].ID = fmt.Sprintf("crop-%02d", i)
			crops[i].Facilities = map[programme.Place]string{
				programme.GrowingRoom:  rapid.SampledFrom([]string{"a", "b"}).Draw(t, "room"),
				programme.SpawnRunRoom: rapid.SampledFrom([]string{"a", "c"}).Draw(t, "run"),
				programme.Tunnel:       "t",
				programme.PhaseIIRoom:  "p",
			}
			crops[i].Load = rapid.SampledFrom([]string{"", "l1"}).Draw(t, "load")
			if i == 0 {
				crops[i].Recorded = []calendar.Record{{Stage: programme.Filling, On: crops[i].Fill}}
			}
		}
		// Some may begin on a closed day; Resolve moves those to an open one.
		moves, stuck, err := calendar.Resolve(crops, rules)
		if err != nil {
			t.Fatal(err)
		}
		shuffled := rapid.Permutation(crops).Draw(t, "order")
		if again, _, err := calendar.Resolve(shuffled, rules); err != nil || !cmp.Equal(moves, again) {
			t.Fatalf("order matters: %v %v %v", moves, again, err)
		}
		for _, m := range moves {
			i := slices.IndexFunc(crops, func(c calendar.Crop) bool { return c.ID == m.Crop })
			if crops[i].Begun() {
				t.Fatalf("moved %s, which has begun", m.Crop)
			}
			crops[i].Fill = crops[i].Fill.Add(m.Days)
		}
		calendars, err := calendar.Recompute(crops, rules)
		if err != nil {
			t.Fatal(err)
		}
		if len(stuck) == 0 {
			if left := calendar.Conflicts(crops, calendars, rules); len(left) > 0 {
				t.Fatalf("still in conflict: %v", left)
			}
		}
		checkDays(t, crops, calendars, stuck)
	})
}

// checkDays counts, day by day and independently of Conflicts, who holds what.
func checkDays(t *rapid.T, crops []calendar.Crop, calendars []calendar.Calendar, stuck []string) {
	type key struct {
		facility string
		day      calendar.Date
	}
	held := map[key]int{}
	for i, c := range calendars {
		if slices.Contains(stuck, c.CropID) {
			continue
		}
		for _, o := range c.Occupancies {
			for d := o.From; d < o.Until; d++ {
				k := key{o.Facility, d}
				j, taken := held[k]
				shared := o.Place == programme.Tunnel && crops[i].Load != "" && crops[i].Load == crops[j].Load
				if taken && j != i && !shared {
					t.Fatalf("%s holds %s on %s, so does %s", c.CropID, o.Facility, d, calendars[j].CropID)
				}
				held[k] = i
			}
		}
	}
}
