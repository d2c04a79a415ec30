package server

import (
	"errors"

	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
)

// asFault words the typed errors of the rules. Others stay as they are.
func asFault(err error) error {
	var large *match.TooLarge
	if errors.As(err, &large) {
		return fault.New(fault.Exhausted, "DAY_TOO_LARGE", "the day has %d lots, %d lines and %d packs: too many to be matched exactly in one go", large.Lots, large.Lines, large.Packs).WithCause(err)
	}
	var problem *match.Problem
	if errors.As(err, &problem) {
		return fault.New(fault.Precondition, "DAY_MAKES_NO_SENSE", "the day cannot be matched: %s %s %s", problem.Thing, problem.ID, problem.Text).
			WithField(problem.Thing+" "+problem.ID, "%s", problem.Text).WithCause(err)
	}
	return err
}

// asPinFault is asFault for what a new pin made impossible: the caller's doing, not the day's. Where
// pins contradict one another the line that comes out short may be another's than the new pin's.
func asPinFault(err error, pin store.Pin) error {
	var problem *match.Problem
	if errors.As(err, &problem) && problem.Thing == "line" {
		f := fault.New(fault.Precondition, "PIN_CANNOT_BE", "the pin cannot be: line %s %s", problem.ID, problem.Text).
			WithField("line "+problem.ID, "%s", problem.Text).WithCause(err)
		if line := pin.Order + "/" + pin.Product; line != problem.ID {
			f = f.WithField("line "+line, "is pinned to what the pins of line %s leave no room for", problem.ID)
		}
		return f
	}
	return asFault(err)
}

// notFound says that there is no such thing in the caller's co-op.
func notFound(thing, id string) *fault.Error {
	return fault.New(fault.NotFound, "", "there is no %s %q", thing, id)
}
