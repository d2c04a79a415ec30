package server

import (
	"errors"
	"strconv"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/scheduling/internal/calendar"
)

// dateFault words what the calendar refuses about the date at a path. Other errors
// are returned as they are.
func dateFault(err error, path string) error {
	var crop *calendar.CropError
	var record *calendar.RecordError
	var closed *calendar.ClosedDayError
	var begun *calendar.BegunError
	switch {
	case errors.As(err, &crop):
		return refused("IMPOSSIBLE_DATE", crop, path)
	case errors.As(err, &record):
		return refused("IMPOSSIBLE_DATE", record, path)
	case errors.As(err, &closed):
		return closedFault(closed, path)
	case errors.As(err, &begun):
		return fault.New(fault.Precondition, "CROP_HAS_BEGUN", "%s", begun).WithField(path, "%s", begun).WithCause(begun)
	}
	return err
}

// closedFault refuses a day on which the co-op does not work, and names the nearest
// days that would do.
func closedFault(closed *calendar.ClosedDayError, path string) error {
	out := fault.New(fault.Invalid, "CLOSED_DAY", "%s: %s", path, closed).WithField(path, "%s", closed).WithCause(closed)
	if closed.Before != nil {
		out = out.WithMeta("before", closed.Before.String())
	}
	if closed.After != nil {
		out = out.WithMeta("after", closed.After.String())
	}
	return out
}

func refused(reason string, err error, path string) error {
	return fault.New(fault.Invalid, reason, "%s: %s", path, err).WithField(path, "%s", err).WithCause(err)
}

// takenFault says that the room is held by another crop on days that a plan wants,
// and which least move of one of the two would free them.
func takenFault(c calendar.Conflict, path string) error {
	out := fault.New(fault.Precondition, "ROOM_TAKEN", "%s", c).WithField(path, "%s", c).
		WithMeta("roomId", c.Facility).WithMeta("firstCropId", c.First).WithMeta("secondCropId", c.Second).
		WithMeta("fromDate", c.From.String()).WithMeta("untilDate", c.Until.String())
	if c.Move != nil {
		out = out.WithMeta("moveCropId", c.Move.Crop).WithMeta("moveDays", strconv.Itoa(c.Move.Days))
	}
	return out
}
