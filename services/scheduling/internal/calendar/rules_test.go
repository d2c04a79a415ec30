package calendar_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

func TestNoFillOnASunday(t *testing.T) {
	t.Parallel()
	rules := sundayRules(t)
	c := crop(t, "white-shelves", "2026-03-08") // a Sunday
	_, err := calendar.Forward(c, rules)
	var closed *calendar.ClosedDayError
	if !errors.As(err, &closed) {
		t.Fatalf("error %v, want a ClosedDayError", err)
	}
	if closed.Before.String() != "2026-03-06" || closed.After.String() != "2026-03-09" {
		t.Errorf("nearest days %s and %s, want Friday 2026-03-06 and Monday 2026-03-09", closed.Before, closed.After)
	}
	for _, want := range []string{"no filling on a Sunday", "2026-03-06", "2026-03-09"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q does not say %q", err, want)
		}
	}
	// The same day for a crop that stands in the plan already is flagged, not lost.
	got := compute(t, c, rules)
	if len(got.Flags) != 1 || got.Flags[0].Kind != calendar.ClosedDay || got.Flags[0].Stage != programme.Filling {
		t.Errorf("flags %+v, want the closed filling day", got.Flags)
	}
	if _, err := calendar.Forward(c, nil); err != nil {
		t.Errorf("without rules: %v", err)
	}
}

func TestHolidayIsNamed(t *testing.T) {
	t.Parallel()
	_, err := calendar.Forward(crop(t, "white-shelves", "2026-12-25"), sundayRules(t))
	if err == nil || !strings.Contains(err.Error(), "no filling on Christmas Day; the nearest days are 2026-12-24 and 2026-12-28") {
		t.Errorf("error %v", err)
	}
}

// Spawning that would fall on a Sunday moves to the Monday, within the least and
// most days of phase II, and what follows moves with it.
func TestStageMovesToAnOpenDay(t *testing.T) {
	t.Parallel()
	c := crop(t, "white-shelves", "2026-03-04") // 11 d of phase II end on Sunday 15 March
	got := compute(t, c, sundayRules(t))
	spawning, _ := got.Stage(programme.Spawning)
	if spawning.Start.String() != "2026-03-16" {
		t.Errorf("spawning on %s, want Monday 2026-03-16", spawning.Start)
	}
	if run, _ := got.Stage(programme.SpawnRun); run.Start != spawning.Start {
		t.Errorf("spawn run begins %s", run.Start)
	}
}

// Where least and most leave only a closed day, the day stands and is flagged.
func TestNoOpenDayWithinTheRange(t *testing.T) {
	t.Parallel()
	c := crop(t, "white-shelves", "2026-03-04")
	c.Programme = c.Programme.Copy("strict", "Strict")
	for i := range c.Programme.Stages {
		if d := &c.Programme.Stages[i].Days; c.Programme.Stages[i].Kind == programme.PhaseII {
			d.Least, d.Most = d.Usual, d.Usual
		}
	}
	got := compute(t, c, sundayRules(t))
	if len(got.Flags) != 1 || got.Flags[0].Stage != programme.Spawning || got.Flags[0].On.String() != "2026-03-15" {
		t.Errorf("flags %+v, want spawning on Sunday 2026-03-15", got.Flags)
	}
}

func TestRulesRefuse(t *testing.T) {
	t.Parallel()
	week := []time.Weekday{0, 1, 2, 3, 4, 5, 6}
	for name, c := range map[string]struct {
		rules    []calendar.Rule
		holidays []calendar.Holiday
	}{
		"never open":        {rules: []calendar.Rule{{Stage: programme.Filling, Weekdays: week}}},
		"shut bit by bit":   {rules: []calendar.Rule{{Stage: programme.Filling, Weekdays: week[:4]}, {Stage: programme.Filling, Weekdays: week[4:]}}},
		"mushrooms at work": {rules: []calendar.Rule{{Stage: programme.SpawnRun, Weekdays: week[:1]}}},
		"eighth weekday":    {rules: []calendar.Rule{{Stage: programme.Filling, Weekdays: []time.Weekday{7}}}},
		"nameless holiday":  {holidays: []calendar.Holiday{{On: date(t, "2026-12-25")}}},
	} {
		_, err := calendar.NewRules(c.rules, c.holidays)
		var rule *calendar.RuleError
		if !errors.As(err, &rule) {
			t.Errorf("%s: error %v, want a RuleError", name, err)
		}
	}
}
