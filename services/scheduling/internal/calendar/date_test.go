package calendar_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"breakshare.example/services/scheduling/internal/calendar"
)

func TestDateAgreesWithTime(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := calendar.Date(rapid.Int32Range(int32(calendar.FirstDate), int32(calendar.LastDate)).Draw(t, "day"))
		clock := d.Time()
		if calendar.DateOf(clock) != d || calendar.On(clock.Date()) != d {
			t.Fatalf("%s does not come back", d)
		}
		if d.Weekday() != clock.Weekday() {
			t.Fatalf("%s is a %s, want %s", d, d.Weekday(), clock.Weekday())
		}
		if w := d.Week(); w.Weekday() != time.Monday || d.Sub(w) < 0 || d.Sub(w) > 6 {
			t.Fatalf("week of %s begins %s", d, w)
		}
		back, err := calendar.ParseDate(d.String())
		if err != nil || back != d {
			t.Fatalf("%s read back as %s, %v", d, back, err)
		}
		n := rapid.IntRange(-40_000, 40_000).Draw(t, "n")
		if d.Add(n).Sub(d) != n {
			t.Fatalf("%s plus %d is %s", d, n, d.Add(n))
		}
	})
}

// A date is what the wall calendar shows in the co-op's zone, not in UTC.
func TestDateOfKeepsTheLocalDay(t *testing.T) {
	t.Parallel()
	zone := time.FixedZone("UTC-5", -5*3600)
	if got := calendar.DateOf(time.Date(2026, 3, 31, 23, 30, 0, 0, zone)).String(); got != "2026-03-31" {
		t.Errorf("late evening became %s", got)
	}
}

func TestParseDateRefuses(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"", "31.3.2026", "2026-02-29", "2026-3-1", "1969-12-31", "2200-01-01", "2026-03-31T00:00:00Z"} {
		if d, err := calendar.ParseDate(text); err == nil {
			t.Errorf("%q was read as %s", text, d)
		}
	}
	var d calendar.Date
	if err := d.UnmarshalText([]byte("2028-02-29")); err != nil || d != calendar.On(2028, time.February, 29) {
		t.Errorf("leap day read as %s, %v", d, err)
	}
}
