package day

import (
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// ISO 8601 writes year, month and day with hyphens; the Gregorian calendar
// decides which days there are: 2000 and 2024 are leap years, 2100 is none.
func TestParse(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]Date{
		"1970-01-01": 0,
		"1970-01-02": 1,
		"2000-02-29": On(2000, time.February, 29),
		"2024-02-29": On(2024, time.February, 29),
		"2199-12-31": Last,
	} {
		got, err := Parse(text)
		if err != nil || got != want || got.String() != text {
			t.Errorf("Parse(%q) = %v, %v, want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "2026-02-30", "2100-02-29", "2026-13-01", "26-01-01", "2026-1-1", "1969-12-31", "2200-01-01", "2026-01-01T00:00:00Z"} {
		var p *Problem
		if _, err := Parse(text); !errors.As(err, &p) || p.Text != text {
			t.Errorf("Parse(%q): %v, want a *Problem", text, err)
		}
	}
}

func TestDateRoundTrips(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := Date(rapid.Int32Range(int32(First), int32(Last)).Draw(t, "date"))
		back, err := Parse(d.String())
		if err != nil || back != d || Of(d.Time()) != d {
			t.Fatalf("%d became %q and %d (%v)", d, d.String(), back, err)
		}
		n := rapid.IntRange(-400, 400).Draw(t, "days")
		if d.Add(n).Sub(d) != n {
			t.Fatalf("%v + %d days is %v", d, n, d.Add(n))
		}
	})
}

// The date is the one that the clock on the wall shows.
func TestOfFollowsTheLocation(t *testing.T) {
	t.Parallel()
	west := time.FixedZone("west", -8*60*60)
	instant := time.Date(2026, time.November, 27, 3, 0, 0, 0, time.UTC)
	if got := Of(instant.In(west)); got != On(2026, time.November, 26) {
		t.Errorf("at 19:00 of the 26th the date is %v", got)
	}
	if got := Of(instant).Compact(); got != "20261127" {
		t.Errorf("Compact is %s", got)
	}
}
