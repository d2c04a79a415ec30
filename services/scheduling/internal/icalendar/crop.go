package icalendar

import (
	"fmt"
	"strings"
	"time"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

// uidHost is the right-hand side of every UID. It names the suite, not a
// machine, so that a restored backup publishes the same UIDs.
const uidHost = "breakshare.example"

// CropLabel is what the events of a crop say beside the stage.
type CropLabel struct {
	// Crop in people's words, e.g. "White mushroom on shelves".
	Crop string
	// Room names where it grows, e.g. "Hill farm, room 2".
	Room string
	// Stamp and Sequence of the crop's last change.
	Stamp    time.Time
	Sequence int
}

// CropEvents turns a crop's calendar into events: one for each stage that lasts,
// one day for each stage that is a day's work, and one for each break. Stages
// at the yard are left out: the yard has its own feed. UIDs depend on nothing
// but the crop's id, the stage and the number of the break. cautions may be nil
// or the programme whose cautions the descriptions carry.
func CropEvents(c calendar.Calendar, label CropLabel, cautions *programme.Programme) []Event {
	out := make([]Event, 0, len(c.Stages)+len(c.Breaks))
	event := func(key, title string, first, until calendar.Date, notes ...string) {
		out = append(out, Event{
			UID: fmt.Sprintf("%s/%s@%s", c.CropID, key, uidHost), Stamp: label.Stamp, Sequence: label.Sequence,
			First: first, Until: max(until, first+1),
			Summary: fmt.Sprintf("%s: %s", title, label.Crop), Description: strings.Join(notes, "\n"), Location: label.Room,
		})
	}
	for _, s := range c.Stages {
		if !s.Place.Reserved() {
			continue
		}
		notes := []string{recordedNote(s)}
		if cautions != nil {
			if stage, ok := cautions.Stage(s.Stage); ok && stage.Caution != "" {
				notes = append(notes, stage.Caution)
			}
		}
		event(strings.ReplaceAll(string(s.Stage), " ", "-"), sentence(string(s.Stage)), s.Start, s.End, notes...)
	}
	for _, b := range c.Breaks {
		event(fmt.Sprintf("break-%d", b.Number), fmt.Sprintf("Break %d", b.Number), b.Start, b.End,
			fmt.Sprintf("First day between %s and %s.", b.Earliest, b.Latest))
	}
	return out
}

func recordedNote(s calendar.StageDates) string {
	switch {
	case s.Recorded:
		return fmt.Sprintf("Began %s.", s.Start)
	case s.Earliest == s.Latest:
		return "Planned."
	}
	return fmt.Sprintf("Planned; can begin between %s and %s.", s.Earliest, s.Latest)
}

// sentence begins the words with a capital.
func sentence(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
