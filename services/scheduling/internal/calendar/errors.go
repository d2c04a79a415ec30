package calendar

import (
	"fmt"

	"breakshare.example/services/scheduling/internal/programme"
)

// CropError is a crop that no calendar can be made for.
type CropError struct {
	Crop   string
	Detail string
}

// Error names the crop and how to mend it.
func (e *CropError) Error() string { return fmt.Sprintf("crop %q: %s", e.Crop, e.Detail) }

// RecordError is a recorded day that cannot be true beside the others.
type RecordError struct {
	Crop   string
	Stage  programme.StageKind
	On     Date
	Detail string
}

// Error names the crop, the stage and the day.
func (e *RecordError) Error() string {
	return fmt.Sprintf("crop %q: %s recorded on %s: %s", e.Crop, e.Stage, e.On, e.Detail)
}

// ClosedDayError is a stage planned to begin on a day when the co-op's rules let
// it not begin.
type ClosedDayError struct {
	Stage programme.StageKind
	On    Date
	// Reason is the rule, e.g. "no filling on a Sunday".
	Reason string
	// Before and After are the nearest days on which it may begin; nil where
	// there is none within a year.
	Before, After *Date
}

// Error says why, and which days would do.
func (e *ClosedDayError) Error() string {
	msg := fmt.Sprintf("%s cannot begin on %s: %s", e.Stage, e.On, e.Reason)
	switch {
	case e.Before != nil && e.After != nil:
		return fmt.Sprintf("%s; the nearest days are %s and %s", msg, *e.Before, *e.After)
	case e.After != nil:
		return fmt.Sprintf("%s; the nearest day is %s", msg, *e.After)
	case e.Before != nil:
		return fmt.Sprintf("%s; the nearest day is %s", msg, *e.Before)
	}
	return msg + "; no day within a year is open, so mend the rules"
}

// BegunError is an attempt to move a crop of which something has happened.
type BegunError struct{ Crop string }

// Error says why the crop stays where it is.
func (e *BegunError) Error() string {
	return fmt.Sprintf("crop %q has begun; record what happened instead of moving it", e.Crop)
}

// RuleError is a working-day rule that makes no sense.
type RuleError struct{ Detail string }

// Error says what is wrong with the rule.
func (e *RuleError) Error() string { return "working-day rule: " + e.Detail }
