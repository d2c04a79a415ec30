// Package day owns calendar days: a day of picking, of filling or of a delivery
// has no hours and no time zone, so it is no instant. Which day it is now, is
// the co-op's time zone's affair and not decided here.
package day

import (
	"fmt"
	"time"
)

// Date is a calendar day, held as whole days since 1970-01-01.
type Date int32

const secondsPerDay = 24 * 60 * 60

// First and Last bound what a date may be. They catch slips of the pen.
var (
	First = On(1970, time.January, 1)
	Last  = On(2199, time.December, 31)
)

// On is the date of a year, month and day. A day beyond the month's end runs
// over into the next month, as time.Date does.
func On(year int, month time.Month, d int) Date {
	return Date(time.Date(year, month, d, 0, 0, 0, 0, time.UTC).Unix() / secondsPerDay)
}

// Of is the date that t shows in its own location.
func Of(t time.Time) Date { return On(t.Date()) }

// Problem is a text that is not a date.
type Problem struct{ Text string }

// Error says what was read and what is expected.
func (p *Problem) Error() string {
	return fmt.Sprintf("%.40q is no day of the calendar from %s to %s: write it as 2026-03-31", p.Text, First, Last)
}

// Parse reads an ISO 8601 calendar date such as "2026-03-31". It returns a
// *Problem for anything else and for days outside First to Last.
func Parse(text string) (Date, error) {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return 0, &Problem{text}
	}
	d := Of(t)
	if d < First || d > Last {
		return 0, &Problem{text}
	}
	return d, nil
}

// Time is midnight of the date in UTC.
func (d Date) Time() time.Time { return time.Unix(int64(d)*secondsPerDay, 0).UTC() }

// String writes the date as 2026-03-31.
func (d Date) String() string { return d.Time().Format(time.DateOnly) }

// Compact writes the date as 20260331, as codes carry it.
func (d Date) Compact() string { return d.Time().Format("20060102") }

// Add is the date so many days later; earlier where days is negative.
func (d Date) Add(days int) Date { return d + Date(days) }

// Sub is the number of days from o to d.
func (d Date) Sub(o Date) int { return int(d - o) }
