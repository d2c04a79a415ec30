package calendar

import (
	"fmt"
	"time"
)

// Date is a calendar day in the co-op's time zone, held as whole days since
// 1970-01-01. It knows no hours and no zone, so days can be added and compared
// without a thought for clock changes.
type Date int32

// The first and last day a crop or a rule may name. They catch slips of the pen.
var (
	FirstDate = On(1970, time.January, 1)
	LastDate  = On(2199, time.December, 31)
)

const secondsPerDay = 24 * 60 * 60

// On is the date of a year, month and day. A day beyond the month's end runs
// over into the next month, as time.Date does.
func On(year int, month time.Month, day int) Date {
	return DateOf(time.Date(year, month, day, 0, 0, 0, 0, time.UTC))
}

// DateOf is the date that t shows in its own location.
func DateOf(t time.Time) Date {
	y, m, d := t.Date()
	return Date(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / secondsPerDay)
}

// DateError is a text that is not a date.
type DateError struct{ Text string }

// Error says what was read and what is expected.
func (e *DateError) Error() string {
	return fmt.Sprintf("%.40q is not a date from %s to %s; write it as 2026-03-31", e.Text, FirstDate, LastDate)
}

// ParseDate reads year-month-day, e.g. "2026-03-31" (RFC 3339 full-date). It
// returns *DateError for anything else and for days outside FirstDate to
// LastDate.
func ParseDate(text string) (Date, error) {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return 0, &DateError{Text: text}
	}
	d := DateOf(t)
	if d < FirstDate || d > LastDate {
		return 0, &DateError{Text: text}
	}
	return d, nil
}

// Time is midnight of the date in UTC.
func (d Date) Time() time.Time { return time.Unix(int64(d)*secondsPerDay, 0).UTC() }

// String writes the date as 2026-03-31.
func (d Date) String() string { return d.Time().Format(time.DateOnly) }

// Add is the date so many days later; earlier where days is negative.
func (d Date) Add(days int) Date { return d + Date(days) }

// Sub is the number of days from o to d.
func (d Date) Sub(o Date) int { return int(d - o) }

// Weekday is the day of the week. 1970-01-01 was a Thursday.
func (d Date) Weekday() time.Weekday { return time.Weekday(((int(d)+4)%7 + 7) % 7) }

// Week is the Monday of the date's week (ISO 8601 weeks begin on Monday).
func (d Date) Week() Date { return d - Date((d.Weekday()+6)%7) }

// MarshalText writes the date as String does.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what ParseDate reads.
func (d *Date) UnmarshalText(text []byte) error {
	v, err := ParseDate(string(text))
	if err != nil {
		return err
	}
	*d = v
	return nil
}
