package icalendar_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/teambition/rrule-go"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/icalendar"
)

// rfcExamples are recurrence examples of RFC 5545 3.8.5.3, each with the days it
// gives; DTSTART is 09:00 in New York. (Numbers recomputed independently.)
var rfcExamples = []struct{ rule, start, want string }{
	{"FREQ=DAILY;COUNT=10", "1997-09-02", "Sep 2 3 4 5 6 7 8 9 10 11"},
	{"FREQ=DAILY;INTERVAL=10;COUNT=5", "1997-09-02", "Sep 2 12 22 Oct 2 12"},
	{"FREQ=WEEKLY;COUNT=10", "1997-09-02", "Sep 2 9 16 23 30 Oct 7 14 21 28 Nov 4"},
	{"FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH", "1997-09-02", "Sep 2 4 9 11 16 18 23 25 30 Oct 2"},
	{"FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH", "1997-09-02", "Sep 2 4 16 18 30 Oct 2 14 16"},
	{"FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15", "1997-09-02", "Sep 2 15 Oct 2 15 Nov 2 15 Dec 2 15 Jan 2 15"},
	{"FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", "1997-08-05", "Aug 5 10 19 24"},
	{"FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", "1997-08-05", "Aug 5 17 19 31"},
}

const fortnightly = "FREQ=WEEKLY;INTERVAL=2;WKST=SU;BYDAY=MO,WE,FR"

const fortnightlyDays = "Sep 1 3 5 15 17 19 29 Oct 1 3 13 15 17 27 29 31 Nov 10 12 14 24 26 28 Dec 8 10 12 22"

func day(t *testing.T, text string) calendar.Date {
	t.Helper()
	d, err := calendar.ParseDate(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// short writes days as the RFC does: a month, then its days.
func short[T interface{ Format(string) string }](days []T) string {
	var b strings.Builder
	month := ""
	for _, d := range days {
		if m := d.Format("Jan"); m != month {
			month = m
			b.WriteString(" " + m)
		}
		b.WriteString(" " + d.Format("2"))
	}
	return strings.TrimPrefix(b.String(), " ")
}

func times(days []calendar.Date) []time.Time {
	out := make([]time.Time, len(days))
	for i, d := range days {
		out[i] = d.Time()
	}
	return out
}

func TestSeriesGivesTheRFCsDays(t *testing.T) {
	t.Parallel()
	through := day(t, "1998-12-31")
	for _, c := range rfcExamples {
		days, err := icalendar.Series{Rule: c.rule, First: day(t, c.start)}.Days(through)
		if err != nil {
			t.Errorf("%s: %v", c.rule, err)
			continue
		}
		if diff := cmp.Diff(c.want, short(times(days))); diff != "" {
			t.Errorf("%s (-RFC 5545 +got):\n%s", c.rule, diff)
		}
	}
	// The RFC's UNTIL is an instant, 23 December 19:00 in New York; the day before
	// Christmas Eve is the same bound for days.
	days, err := icalendar.Series{Rule: fortnightly + ";UNTIL=19971223", First: day(t, "1997-09-01")}.Days(through)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(fortnightlyDays, short(times(days))); diff != "" {
		t.Errorf("until (-RFC 5545 +got):\n%s", diff)
	}
}

// The library itself, at 09:00 in New York: the same days, nine o'clock on both
// sides of the change from summer time on 26 October 1997, and the UNTIL instant.
func TestLibraryGivesTheRFCsTimes(t *testing.T) {
	t.Parallel()
	newYork, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	examples := append([]struct{ rule, start, want string }{{fortnightly + ";UNTIL=19971224T000000Z", "1997-09-01", fortnightlyDays}}, rfcExamples...)
	for _, c := range examples {
		option, err := rrule.StrToROption(c.rule)
		if err != nil {
			t.Fatal(err)
		}
		y, m, d := day(t, c.start).Time().Date()
		option.Dtstart = time.Date(y, m, d, 9, 0, 0, 0, newYork)
		rule, err := rrule.NewRRule(*option)
		if err != nil {
			t.Fatal(err)
		}
		all := rule.All()
		if diff := cmp.Diff(c.want, short(all)); diff != "" {
			t.Errorf("%s (-RFC 5545 +got):\n%s", c.rule, diff)
		}
		for _, at := range all {
			if at.Hour() != 9 {
				t.Errorf("%s: at %s", c.rule, at)
			}
		}
	}
}

func TestSeriesBounds(t *testing.T) {
	t.Parallel()
	s := icalendar.Series{Rule: "FREQ=WEEKLY;BYDAY=TU,FR", First: day(t, "2026-12-01"), Except: []calendar.Date{day(t, "2026-12-25")}}
	days, err := s.Days(day(t, "2027-01-01"))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := short(times(days)), "Dec 1 4 8 11 15 18 22 29 Jan 1"; got != want {
		t.Errorf("days %s, want %s", got, want)
	}
	days, err = s.Days(day(t, "2026-11-30"))
	if err != nil || len(days) != 0 {
		t.Errorf("before the series begins: %v, %v", days, err)
	}
}

func TestSeriesRefuses(t *testing.T) {
	t.Parallel()
	for rule, says := range map[string]string{
		"":                                    "NAME=VALUE",
		"FREQ":                                "NAME=VALUE",
		"COUNT=3":                             "FREQ must be",
		"FREQ=HOURLY":                         "FREQ must be",
		"FREQ=DAILY;FREQ=WEEKLY":              "FREQ stands twice",
		"FREQ=DAILY;COUNT=2;UNTIL=20261224":   "cannot both stand",
		"FREQ=DAILY;COUNT=0":                  "COUNT must be",
		"FREQ=DAILY;COUNT=-5":                 "COUNT must be",
		"FREQ=DAILY;INTERVAL=0":               "INTERVAL must be",
		"FREQ=DAILY;INTERVAL=99999999999":     "INTERVAL must be",
		"FREQ=DAILY;BYHOUR=9":                 "no place",
		"FREQ=DAILY;UNTIL=20261224T000000Z":   "UNTIL must be a day",
		"FREQ=DAILY;UNTIL=Christmas":          "UNTIL must be a day",
		"FREQ=DAILY;UNTIL=2026XX24":           "2026XX24",
		"FREQ=WEEKLY;BYDAY=XX":                "XX",
		"FREQ=MONTHLY;BYMONTHDAY=32":          "bymonthday",
		"FREQ=DAILY;FLAVOUR=SWEET":            "FLAVOUR",
		"FREQ=WEEKLY;BYDAY=WE":                "first day would be 2026-12-02, not 2026-12-01",
		"FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30": "no day at all",
		"FREQ=DAILY":                          "more than 3660 days",
	} {
		_, err := icalendar.Series{Rule: rule, First: day(t, "2026-12-01")}.Days(day(t, "2199-12-31"))
		var refused *icalendar.SeriesError
		if !errors.As(err, &refused) || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: error %v, want one saying %q", rule, err, says)
		}
	}
}

// Whatever the rule text, Days ends, and what it gives is in order, within bounds
// and begins on the first day.
func FuzzSeries(f *testing.F) {
	for _, c := range rfcExamples {
		f.Add(c.rule)
	}
	f.Add("FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10")
	f.Add("FREQ=DAILY;BYSETPOS=-1;BYMONTHDAY=1,-1")
	f.Add("FREQ=WEEKLY;BYWEEKNO=53;BYYEARDAY=366")
	first := calendar.On(2026, time.December, 1)
	f.Fuzz(func(t *testing.T, rule string) {
		days, err := icalendar.Series{Rule: rule, First: first}.Days(first + 800)
		if err != nil {
			return
		}
		for i, d := range days {
			if d > first+800 || (i == 0 && d != first) || (i > 0 && d <= days[i-1]) {
				t.Fatalf("%q gives %v", rule, days)
			}
		}
	})
}
