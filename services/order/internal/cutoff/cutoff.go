// Package cutoff says until when a day of delivery may be ordered for: a time on the co-op's own
// clock, some days before. The clock is that of the co-op's time zone, so that the cut-off stands
// at the same hour in summer and winter.
package cutoff

import (
	"fmt"
	"time"
)

// Rule is a co-op's cut-off.
type Rule struct {
	// Clock is the time of day, 24 hours, as "14:00".
	Clock string
	// DaysBefore the day of delivery, 0 or more.
	DaysBefore int
	// Zone in which the co-op reads its clock.
	Zone *time.Location
}

// At is the instant from which nothing may be ordered for a day any more. The day is an ISO 8601
// date. An hour that the clock skips or shows twice is read as package time does.
func (r Rule) At(day string) (time.Time, error) {
	clock, err := time.Parse("15:04", r.Clock)
	if err != nil {
		return time.Time{}, fmt.Errorf("cut-off: %q is no time of day as 14:00: %w", r.Clock, err)
	}
	date, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return time.Time{}, fmt.Errorf("cut-off: %q is no day of the calendar: %w", day, err)
	}
	return time.Date(date.Year(), date.Month(), date.Day()-r.DaysBefore, clock.Hour(), clock.Minute(), 0, 0, r.Zone), nil
}

// Today is the date on the co-op's calendar at an instant.
func Today(now time.Time, zone *time.Location) string { return now.In(zone).Format(time.DateOnly) }
