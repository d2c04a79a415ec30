package server

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"breakshare.example/services/platform/fault"
)

// Dates and instants outside of these are slips of the pen.
const firstYear, lastYear = 1970, 2199

// maxID is the most characters of an id that people choose.
const maxID = 64

// date reads a calendar date.
func date(path, text string) (time.Time, error) {
	d, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return time.Time{}, fault.InvalidField(path, "%q is not a day of the calendar: write it as 2026-03-31", text)
	}
	if d.Year() < firstYear || d.Year() > lastYear {
		return time.Time{}, fault.InvalidField(path, "%s lies outside the years %d to %d", text, firstYear, lastYear)
	}
	return d, nil
}

func dateText(d time.Time) string { return d.Format(time.DateOnly) }

// instant reads a point in time.
func instant(path string, ts *timestamppb.Timestamp) (time.Time, error) {
	if err := ts.CheckValid(); err != nil {
		return time.Time{}, fault.InvalidField(path, "is not an instant: write it as 2026-03-31T06:30:00Z")
	}
	t := ts.AsTime().Truncate(time.Microsecond) // as the database keeps it
	if t.Year() < firstYear || t.Year() > lastYear {
		return time.Time{}, fault.InvalidField(path, "%s lies outside the years %d to %d", t.Format(time.RFC3339), firstYear, lastYear)
	}
	return t, nil
}

// span reads the first and last day of a span.
func span(fromText, toText string) (from, to time.Time, err error) {
	if from, err = date("from_date", fromText); err != nil {
		return from, to, err
	}
	if to, err = date("to_date", toText); err != nil {
		return from, to, err
	}
	if to.Before(from) {
		return from, to, fault.InvalidField("to_date", "%s lies before from_date %s: exchange them", toText, fromText)
	}
	return from, to, nil
}

// optional is a timestamp that may be absent.
func optional(t *time.Time) *timestamppb.Timestamp {
	if t == nil || t.IsZero() {
		return nil
	}
	return timestamppb.New(*t)
}

// ids picks one id out of each element, each once.
func ids[T any](items []T, id func(T) string) []string {
	seen := make(map[string]bool, len(items))
	var out []string
	for _, item := range items {
		if v := id(item); v != "" && !seen[v] {
			seen[v] = true
			out = append(out, v)
		}
	}
	return out
}

// convert turns each element into another.
func convert[A, B any](in []A, f func(A) B) []B {
	out := make([]B, len(in))
	for i, a := range in {
		out[i] = f(a)
	}
	return out
}
