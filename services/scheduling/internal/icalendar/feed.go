package icalendar

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	ics "github.com/arran4/golang-ical"

	"breakshare.example/services/scheduling/internal/calendar"
)

// productID names the writer, as RFC 5545 3.7.3 asks.
const productID = "-//Breakshare//Scheduling//EN"

// Event is one all-day event.
type Event struct {
	// UID is globally unique and stays the same while the thing it stands for
	// does (RFC 5545 3.8.4.7), e.g. "<crop id>/casing@breakshare.example".
	UID string
	// Stamp is when the event was last changed, in UTC (DTSTAMP). A reader that
	// keeps the newest of two copies needs it to grow with each change.
	Stamp time.Time
	// Sequence counts the revisions from 0 (RFC 5545 3.8.7.4).
	Sequence int
	// First and Until are the first day and the day after the last.
	First, Until calendar.Date
	// Summary is the one line shown; Description and Location may be empty.
	Summary, Description, Location string
	// Cancelled events stay in the feed so that readers take them out.
	Cancelled bool
}

// Feed is one published calendar.
type Feed struct {
	// Name shown by readers (RFC 7986 5.1).
	Name string
	// Refresh is how often readers should look again, in whole minutes (RFC 7986
	// 5.7); 0 leaves it to them.
	Refresh time.Duration
	Events  []Event
}

// EventError is an event that cannot be published.
type EventError struct {
	UID    string
	Detail string
}

// Error names the event and how to mend it.
func (e *EventError) Error() string { return fmt.Sprintf("calendar event %q: %s", e.UID, e.Detail) }

// Write writes the feed as text/calendar in UTF-8, events by first day, then
// UID. A feed without events is written as an empty calendar. Errors:
// *EventError before anything is written, or the writer's.
func (f Feed) Write(w io.Writer) error {
	if err := f.check(); err != nil {
		return err
	}
	cal := ics.NewCalendar()
	cal.SetProductId(productID)
	cal.SetMethod(ics.MethodPublish)
	cal.SetCalscale("GREGORIAN")
	addProperty(cal, "NAME", clean(f.Name))
	if minutes := int64(f.Refresh / time.Minute); minutes > 0 {
		cal.SetRefreshInterval(fmt.Sprintf("PT%dM", minutes)) // the library writes VALUE=DURATION itself
	}
	events := slices.SortedFunc(slices.Values(f.Events), func(a, b Event) int {
		return cmp.Or(cmp.Compare(a.First, b.First), cmp.Compare(a.UID, b.UID))
	})
	for _, e := range events {
		addEvent(cal, e)
	}
	// The library drops some of a writer's errors; a buffer has none.
	var text bytes.Buffer
	if err := cal.SerializeTo(&text, ics.WithNewLineWindows); err != nil {
		return fmt.Errorf("write calendar %q: %w", f.Name, err)
	}
	if _, err := text.WriteTo(w); err != nil {
		return fmt.Errorf("send calendar %q: %w", f.Name, err)
	}
	return nil
}

func (f Feed) check() error {
	seen := make(map[string]bool, len(f.Events))
	for _, e := range f.Events {
		refuse := func(detail string) error { return &EventError{UID: e.UID, Detail: detail} }
		switch {
		case e.UID == "" || e.UID != clean(e.UID) || strings.ContainsAny(e.UID, "\n"):
			return refuse("its UID is empty or holds control characters")
		case seen[e.UID]:
			return refuse("its UID stands twice in the feed")
		case e.Until <= e.First:
			return refuse(fmt.Sprintf("it ends on %s, not after its first day %s; Until is the day after the last", e.Until, e.First))
		case e.Stamp.IsZero():
			return refuse("it has no stamp; give the time of its last change")
		case e.Sequence < 0:
			return refuse("its sequence is negative; count from 0")
		case strings.TrimSpace(clean(e.Summary)) == "":
			return refuse("it has no summary")
		}
		seen[e.UID] = true
	}
	return nil
}

func addEvent(cal *ics.Calendar, e Event) {
	v := cal.AddEvent(e.UID)
	v.SetDtStampTime(e.Stamp)
	v.SetSequence(e.Sequence)
	v.SetAllDayStartAt(e.First.Time())
	v.SetAllDayEndAt(e.Until.Time())
	v.SetSummary(clean(e.Summary))
	if d := clean(e.Description); d != "" {
		v.SetDescription(d)
	}
	if l := clean(e.Location); l != "" {
		v.SetLocation(l)
	}
	// A crop's stage does not make a person busy.
	v.SetTimeTransparency(ics.TransparencyTransparent)
	if e.Cancelled {
		v.SetStatus(ics.ObjectStatusCancelled)
	}
}

// addProperty adds a text property the library has no setter for. Its own
// SetName would add a vendor's property beside it.
func addProperty(cal *ics.Calendar, token, value string) {
	if value != "" {
		cal.CalendarProperties = append(cal.CalendarProperties, ics.CalendarProperty{
			BaseProperty: ics.BaseProperty{IANAToken: token, Value: value, ICalParameters: map[string][]string{}},
		})
	}
}

// clean turns every line end into "\n", drops the control characters that RFC
// 5545 3.1 does not allow in text (all but the tab), and mends broken UTF-8.
func clean(s string) string {
	s = strings.ReplaceAll(strings.ToValidUTF8(s, string(utf8.RuneError)), "\r\n", "\n")
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return r
		case r == '\r' || r == '\u2028' || r == '\u2029':
			return '\n'
		case unicode.IsControl(r):
			return -1
		}
		return r
	}, s)
}
