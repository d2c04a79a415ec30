package cutoff_test

import (
	"testing"
	"time"
	_ "time/tzdata" // the machine may have no zones

	"breakshare.example/services/order/internal/cutoff"
)

// The clock of a zone goes an hour forward on the last Sunday of March and back on the last Sunday
// of October, at 01:00 UTC (Directive 2000/84/EC of the European Parliament and of the Council).
func TestTheCutoffStandsAtTheSameHourAllYear(t *testing.T) {
	t.Parallel()
	dublin, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	auckland, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	tests := map[string]struct {
		rule      cutoff.Rule
		day, want string
	}{
		"in winter":              {cutoff.Rule{Clock: "14:00", DaysBefore: 1, Zone: dublin}, "2026-11-26", "2026-11-25T14:00:00Z"},
		"in summer":              {cutoff.Rule{Clock: "14:00", DaysBefore: 1, Zone: dublin}, "2026-07-01", "2026-06-30T13:00:00Z"},
		"the day after a change": {cutoff.Rule{Clock: "14:00", DaysBefore: 1, Zone: dublin}, "2026-03-30", "2026-03-29T13:00:00Z"},
		"the day of a change":    {cutoff.Rule{Clock: "14:00", DaysBefore: 1, Zone: dublin}, "2026-03-29", "2026-03-28T14:00:00Z"},
		"at the end of a year":   {cutoff.Rule{Clock: "23:30", DaysBefore: 2, Zone: dublin}, "2027-01-01", "2026-12-30T23:30:00Z"},
		"far from Greenwich":     {cutoff.Rule{Clock: "09:00", DaysBefore: 1, Zone: auckland}, "2026-11-26", "2026-11-24T20:00:00Z"},
		"on the day":             {cutoff.Rule{Clock: "05:00", Zone: time.UTC}, "2026-11-26", "2026-11-26T05:00:00Z"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got, err := test.rule.At(test.day)
			if err != nil || got.UTC().Format(time.RFC3339) != test.want {
				t.Errorf("got %s (%v), want %s", got.UTC().Format(time.RFC3339), err, test.want)
			}
		})
	}
	if today := cutoff.Today(time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC), auckland); today != "2026-11-26" {
		t.Errorf("noon of the 25th in Greenwich is %s in Auckland", today)
	}
}

func TestWhatIsNoCutoffIsRefused(t *testing.T) {
	t.Parallel()
	for name, ask := range map[string]struct {
		clock, day string
	}{"no time": {"", "2026-11-26"}, "no such time": {"25:00", "2026-11-26"}, "no such day": {"14:00", "2026-02-30"}} {
		if at, err := (cutoff.Rule{Clock: ask.clock, DaysBefore: 1, Zone: time.UTC}).At(ask.day); err == nil {
			t.Errorf("%s: %s", name, at)
		}
	}
}
