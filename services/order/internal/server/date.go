package server

import (
	"strings"
	"time"

	"breakshare.example/services/platform/fault"
)

// dayNumber reads a calendar date, ISO 8601, as days since 1970-01-01. It refuses one that the
// calendar does not have, naming the field.
func dayNumber(path, date string) (int, error) {
	day, err := time.Parse(time.DateOnly, date)
	if err != nil || day.Year() < 1970 {
		return 0, fault.InvalidField(path, "%q is not a day of the calendar: give one as 2026-11-26", date)
	}
	return int(day.Unix() / (24 * 60 * 60)), nil
}

// compact writes an ISO 8601 date without hyphens, as it stands in codes.
func compact(date string) string { return strings.ReplaceAll(date, "-", "") }
