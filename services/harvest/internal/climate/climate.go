// Package climate owns when a growing room is outside the limits of its crop's
// programme: it reads measurements in the order of time and raises, carries on
// and clears alerts. Which limits hold is the programme's affair; what to do
// about an alert is a person's.
package climate

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// Kind is what was measured.
type Kind int16

// The kinds, with their units.
const (
	Air      Kind = 1 // tenths of °C
	Humidity Kind = 2 // per cent
	CO2      Kind = 3 // parts per million by volume
	Compost  Kind = 4 // tenths of °C
)

// Kinds are all kinds in order.
var Kinds = []Kind{Air, Humidity, CO2, Compost}

// String names the kind.
func (k Kind) String() string {
	switch k {
	case Air:
		return "air temperature"
	case Humidity:
		return "humidity"
	case CO2:
		return "carbon dioxide"
	case Compost:
		return "compost temperature"
	}
	return "unknown"
}

// Bounds are the least and most that an instrument can mean.
func (k Kind) Bounds() (least, most int64) {
	switch k {
	case Humidity:
		return 0, 100
	case CO2:
		return 0, 100_000
	}
	return -500, 1000
}

// Limit is what is allowed; a nil bound limits nothing.
type Limit struct{ Least, Most *int64 }

// Outside is by how much a value lies outside, above 0 where it does.
func (l Limit) Outside(v int64) int64 {
	switch {
	case l.Least != nil && v < *l.Least:
		return *l.Least - v
	case l.Most != nil && v > *l.Most:
		return v - *l.Most
	}
	return 0
}

// Equal reports whether two limits are the same.
func (l Limit) Equal(o Limit) bool { return same(l.Least, o.Least) && same(l.Most, o.Most) }

func same(a, b *int64) bool { return (a == nil) == (b == nil) && (a == nil || *a == *b) }

// Reading is one measurement of one kind in one room.
type Reading struct {
	Time  time.Time
	Value int64
}

// Setting is what holds in a room at a moment.
type Setting struct {
	CropID, Step string
	Limit        Limit
}

// Alert is a time outside a limit.
type Alert struct {
	ID          string // of the caller's choosing; empty for one that Check raised
	Setting     Setting
	Since, Last time.Time // of the first and the newest reading outside
	LastValue   int64
	Worst       int64 // the value farthest outside
	Cleared     *time.Time
}

// Check goes through readings of one kind of one room and returns the alerts
// that changed, oldest first: the open one, nil where there is none, and those
// raised. at tells what holds at a moment. Readings up to after were checked
// before and are left out, since an alert does not change backwards. The order
// of the readings does not matter. An alert clears with the first reading that
// is not outside; one whose limit has changed meanwhile clears with the next
// reading, and another is raised where that is outside the new one.
func Check(open *Alert, after time.Time, readings []Reading, at func(time.Time) Setting) []Alert {
	sorted := slices.Clone(readings)
	slices.SortStableFunc(sorted, func(a, b Reading) int { return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Value, b.Value)) })
	var done []Alert
	var current *Alert
	if open != nil {
		copied := *open
		current = &copied
	}
	changed := false
	for _, r := range sorted {
		if !r.Time.After(after) {
			continue
		}
		now := at(r.Time)
		out := now.Limit.Outside(r.Value)
		if current != nil && (out == 0 || !current.Setting.Limit.Equal(now.Limit)) {
			cleared := r.Time
			current.Cleared = &cleared
			done = append(done, *current)
			current, changed = nil, false
		}
		if out == 0 {
			continue
		}
		if current == nil {
			current = &Alert{Setting: now, Since: r.Time, Worst: r.Value}
		}
		if out > now.Limit.Outside(current.Worst) {
			current.Worst = r.Value
		}
		current.Last, current.LastValue, changed = r.Time, r.Value, true
	}
	if current != nil && changed {
		done = append(done, *current)
	}
	return done
}

// Text says what an alert means.
func Text(k Kind, a Alert) string {
	verb, bound := "is above", a.Setting.Limit.Most
	if bound == nil || a.LastValue <= *bound {
		verb, bound = "is below", a.Setting.Limit.Least
	}
	if bound == nil {
		return ""
	}
	text := fmt.Sprintf("%s %s the %s that the programme allows in %s: %s", k, verb, k.show(*bound), a.Setting.Step, k.show(a.LastValue))
	if k == CO2 && a.LastValue >= danger {
		text += ". People are in danger there: ventilate before anybody goes in; local codes and licensed practice decide"
	}
	return text
}

// danger is from where carbon dioxide harms people who stay: the exposure limit
// for eight hours (OSHA, 29 CFR 1910.1000 table Z-1).
const danger = 5000

func (k Kind) show(v int64) string {
	switch k {
	case Humidity:
		return fmt.Sprintf("%d %%", v)
	case CO2:
		return fmt.Sprintf("%d ppm", v)
	}
	return fmt.Sprintf("%.1f °C", float64(v)/10)
}
