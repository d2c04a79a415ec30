package icalendar

import (
	"fmt"
	"slices"
	"strings"

	"github.com/teambition/rrule-go"

	"breakshare.example/services/scheduling/internal/calendar"
)

// Series is a run of days given by a recurrence rule.
type Series struct {
	// Rule is the value of an RRULE property, e.g. "FREQ=WEEKLY;BYDAY=TU,FR".
	// Only days recur: FREQ is DAILY, WEEKLY, MONTHLY or YEARLY.
	Rule string
	// First is the first day; it is the first of the series and must be one of
	// the rule's days, since RFC 5545 3.8.5.3 leaves the series undefined
	// otherwise.
	First calendar.Date
	// Except are days left out (EXDATE). They count towards COUNT.
	Except []calendar.Date
}

// maxDays bounds one expansion: a slot each day for ten years.
const maxDays = 3660

// SeriesError is a rule that cannot be expanded.
type SeriesError struct {
	Rule   string
	Detail string
}

// Error says which part is wrong and how to mend it.
func (e *SeriesError) Error() string {
	return fmt.Sprintf("recurrence rule %.200q: %s", e.Rule, e.Detail)
}

// Days lists the days of the series up to and including through, in order.
// Error: *SeriesError.
func (s Series) Days(through calendar.Date) ([]calendar.Date, error) {
	refuse := func(format string, args ...any) ([]calendar.Date, error) {
		return nil, &SeriesError{Rule: s.Rule, Detail: fmt.Sprintf(format, args...)}
	}
	if detail := s.fault(); detail != "" {
		return refuse("%s", detail)
	}
	option, err := rrule.StrToROption(s.Rule)
	if err != nil {
		return refuse("%v", err)
	}
	option.Dtstart = s.First.Time()
	rule, err := rrule.NewRRule(*option)
	if err != nil {
		return refuse("%v", err)
	}
	var days []calendar.Date
	next := rule.Iterator()
	for at, ok := next(); ok; at, ok = next() {
		day := calendar.DateOf(at)
		if len(days) == 0 && day != s.First {
			return refuse("its first day would be %s, not %s; begin on a day of the rule", day, s.First)
		}
		if day > through {
			break
		}
		if len(days) == maxDays {
			return refuse("gives more than %d days until %s; shorten it", maxDays, through)
		}
		days = append(days, day)
	}
	if len(days) == 0 && s.First <= through {
		return refuse("gives no day at all")
	}
	return slices.DeleteFunc(days, func(d calendar.Date) bool { return slices.Contains(s.Except, d) }), nil
}

// fault finds what RFC 5545 3.3.10 forbids and the library lets pass.
func (s Series) fault() string {
	seen := map[string]string{}
	for part := range strings.SplitSeq(s.Rule, ";") {
		name, value, found := strings.Cut(part, "=")
		if !found || value == "" {
			return fmt.Sprintf("part %.40q is not NAME=VALUE", part)
		}
		if _, twice := seen[name]; twice {
			return name + " stands twice"
		}
		seen[name] = value
	}
	switch seen["FREQ"] {
	case "DAILY", "WEEKLY", "MONTHLY", "YEARLY":
	default:
		return "FREQ must be DAILY, WEEKLY, MONTHLY or YEARLY"
	}
	for _, name := range []string{"BYHOUR", "BYMINUTE", "BYSECOND", "DTSTART"} {
		if _, ok := seen[name]; ok {
			return name + " has no place in a series of days"
		}
	}
	return boundsFault(seen)
}

func boundsFault(parts map[string]string) string {
	for _, name := range []string{"COUNT", "INTERVAL"} {
		if v, ok := parts[name]; ok && (strings.Trim(v, "0123456789") != "" || strings.Trim(v, "0") == "" || len(v) > 4) {
			return name + " must be a whole number from 1 to 9999"
		}
	}
	until, bounded := parts["UNTIL"]
	if _, counted := parts["COUNT"]; counted && bounded {
		return "COUNT and UNTIL cannot both stand; keep one"
	}
	// UNTIL has the type of DTSTART (RFC 5545 3.3.10), which here is a day.
	if bounded && len(until) != len(rrule.DateFormat) {
		return "UNTIL must be a day such as 20261224 in a series of days"
	}
	return ""
}
