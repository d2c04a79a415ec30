package calendar

import (
	"fmt"
	"slices"
	"time"

	"breakshare.example/services/scheduling/internal/programme"
)

// Rule says on which days a stage that takes hands does not begin.
type Rule struct {
	Stage programme.StageKind
	// Weekdays on which it does not begin.
	Weekdays []time.Weekday
	// Holidays true: nor on a holiday.
	Holidays bool
}

// Holiday is a day the co-op does not work.
type Holiday struct {
	On   Date
	Name string
}

// Rules are a co-op's working days. A nil *Rules lets everything begin on any
// day.
type Rules struct {
	closed   map[programme.StageKind]closure
	holidays map[Date]string
}

type closure struct {
	weekdays [7]bool
	holidays bool
}

// worked lists the stages that begin with people's work. The others (spawn run,
// case run, cropping, idle) begin by themselves and heed no Sunday.
var worked = []programme.StageKind{
	programme.PhaseI, programme.PhaseII, programme.Filling, programme.Spawning,
	programme.Casing, programme.Pinning, programme.CookOut,
}

// NewRules checks and gathers rules; several for one stage add up. Error:
// *RuleError for a stage that begins by itself, a weekday that is none, all seven
// days closed, or a holiday without a name or out of range.
func NewRules(rules []Rule, holidays []Holiday) (*Rules, error) {
	r := &Rules{closed: map[programme.StageKind]closure{}, holidays: make(map[Date]string, len(holidays))}
	for _, rule := range rules {
		if !slices.Contains(worked, rule.Stage) {
			return nil, &RuleError{Detail: fmt.Sprintf("%q does not begin with work; rules hold for %q", rule.Stage, worked)}
		}
		c := r.closed[rule.Stage]
		for _, day := range rule.Weekdays {
			if day < time.Sunday || day > time.Saturday {
				return nil, &RuleError{Detail: fmt.Sprintf("weekday %d of %s does not exist; Sunday is 0, Saturday 6", day, rule.Stage)}
			}
			c.weekdays[day] = true
		}
		if !slices.Contains(c.weekdays[:], false) {
			return nil, &RuleError{Detail: fmt.Sprintf("%s could begin on no day of the week; leave one open", rule.Stage)}
		}
		c.holidays = c.holidays || rule.Holidays
		r.closed[rule.Stage] = c
	}
	for _, h := range holidays {
		if h.Name == "" || h.On < FirstDate || h.On > LastDate {
			return nil, &RuleError{Detail: fmt.Sprintf("holiday %q on %s needs a name and a day from %s to %s", h.Name, h.On, FirstDate, LastDate)}
		}
		// Two names for one day: the lesser one speaks, whatever the order given.
		if had, ok := r.holidays[h.On]; !ok || h.Name < had {
			r.holidays[h.On] = h.Name
		}
	}
	return r, nil
}

// Open reports whether the stage may begin on the day; reason says why not.
func (r *Rules) Open(stage programme.StageKind, on Date) (open bool, reason string) {
	if r == nil {
		return true, ""
	}
	c, ruled := r.closed[stage]
	if !ruled {
		return true, ""
	}
	if c.weekdays[on.Weekday()] {
		return false, fmt.Sprintf("no %s on a %s", stage, on.Weekday())
	}
	if c.holidays {
		if name, is := r.holidays[on]; is {
			return false, fmt.Sprintf("no %s on %s", stage, name)
		}
	}
	return true, ""
}

// check returns *ClosedDayError where the stage may not begin on the day.
func (r *Rules) check(stage programme.StageKind, on Date) error {
	open, reason := r.Open(stage, on)
	if open {
		return nil
	}
	e := &ClosedDayError{Stage: stage, On: on, Reason: reason}
	for d := 1; d <= 366 && (e.Before == nil || e.After == nil); d++ {
		e.Before = r.firstOpen(e.Before, stage, on.Add(-d))
		e.After = r.firstOpen(e.After, stage, on.Add(d))
	}
	return e
}

func (r *Rules) firstOpen(found *Date, stage programme.StageKind, on Date) *Date {
	if found != nil {
		return found
	}
	if open, _ := r.Open(stage, on); open {
		return &on
	}
	return nil
}

// nearest is the open day nearest to target within low and high, the later of
// two equally near; ok is false where all are closed.
func (r *Rules) nearest(stage programme.StageKind, target, low, high Date) (day Date, ok bool) {
	for d := Date(0); target+d <= high || target-d >= low; d++ {
		if target+d <= high && target+d >= low && r.isOpen(stage, target+d) {
			return target + d, true
		}
		if target-d >= low && target-d <= high && r.isOpen(stage, target-d) {
			return target - d, true
		}
	}
	return target, false
}

func (r *Rules) isOpen(stage programme.StageKind, on Date) bool {
	if r == nil {
		return true
	}
	c, ruled := r.closed[stage]
	if !ruled {
		return true
	}
	if c.weekdays[on.Weekday()] {
		return false
	}
	if !c.holidays {
		return true
	}
	_, holiday := r.holidays[on]
	return !holiday
}
