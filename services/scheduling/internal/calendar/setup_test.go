package calendar_test

import (
	"slices"
	"time"

	"pgregory.net/rapid"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

type fataler interface {
	Helper()
	Fatalf(format string, args ...any)
}

func programmes(t fataler) []*programme.Programme {
	t.Helper()
	all, err := programme.Builtin()
	if err != nil {
		t.Fatalf("built-in programmes: %v", err)
	}
	return all
}

func crop(t fataler, id string, fill string) calendar.Crop {
	t.Helper()
	all := programmes(t)
	i := slices.IndexFunc(all, func(p *programme.Programme) bool { return p.ID == id })
	if i < 0 {
		t.Fatalf("no programme %q", id)
	}
	return calendar.Crop{ID: "crop-1", Programme: all[i], Fill: date(t, fill), Facilities: map[programme.Place]string{
		programme.GrowingRoom: "room-1", programme.SpawnRunRoom: "run-1", programme.PhaseIIRoom: "heat-1", programme.Tunnel: "tunnel-1",
	}}
}

func date(t fataler, text string) calendar.Date {
	t.Helper()
	d, err := calendar.ParseDate(text)
	if err != nil {
		t.Fatalf("%v", err)
	}
	return d
}

func compute(t fataler, c calendar.Crop, rules *calendar.Rules) calendar.Calendar {
	t.Helper()
	got, err := calendar.Compute(c, rules)
	if err != nil {
		t.Fatalf("%v", err)
	}
	return got
}

// sundayRules keep Sundays and two holidays free of heavy work.
func sundayRules(t fataler) *calendar.Rules {
	t.Helper()
	sunday := []time.Weekday{time.Sunday}
	rules, err := calendar.NewRules([]calendar.Rule{
		{Stage: programme.Filling, Weekdays: []time.Weekday{time.Saturday, time.Sunday}, Holidays: true},
		{Stage: programme.Spawning, Weekdays: sunday, Holidays: true},
		{Stage: programme.Casing, Weekdays: sunday, Holidays: true},
		{Stage: programme.CookOut, Weekdays: sunday},
	}, []calendar.Holiday{
		{On: date(t, "2026-12-25"), Name: "Christmas Day"},
		{On: date(t, "2026-12-26"), Name: "Boxing Day"},
	})
	if err != nil {
		t.Fatalf("%v", err)
	}
	return rules
}

// drawCrop draws a planned crop of any built-in programme.
func drawCrop(t *rapid.T, all []*programme.Programme) calendar.Crop {
	return calendar.Crop{
		ID:        rapid.StringMatching(`c[0-9]{3}`).Draw(t, "id"),
		Programme: rapid.SampledFrom(all).Draw(t, "programme"),
		Fill:      calendar.On(2026, time.March, 1).Add(rapid.IntRange(0, 400).Draw(t, "fill")),
	}
}
