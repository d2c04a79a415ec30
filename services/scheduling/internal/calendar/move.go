package calendar

import (
	"breakshare.example/services/scheduling/internal/programme"
)

// Move plans the crop so many days later (earlier where negative) than it stands
// and returns it with its new calendar; what held it up counts no more. Errors: *BegunError; *ClosedDayError; *CropError.
func Move(crop Crop, days int, rules *Rules) (Crop, Calendar, error) {
	if crop.Begun() {
		return crop, Calendar{}, &BegunError{Crop: crop.ID}
	}
	moved := crop
	if crop.NotBefore != nil {
		moved.Fill, moved.NotBefore = max(crop.Fill, *crop.NotBefore), nil
	}
	moved.Fill = moved.Fill.Add(days)
	c, err := Forward(moved, rules)
	if err != nil {
		return crop, Calendar{}, err
	}
	return moved, c, nil
}

// Change is a stage whose start differs between two calendars of one crop.
type Change struct {
	Stage    programme.StageKind
	From, To Date
}

// Changes lists the stages of after that start on another day than in before,
// in order: what there is to tell after a slip. The day the room is free is
// listed last under the stage "free".
func Changes(before, after Calendar) []Change {
	var out []Change
	for _, s := range after.Stages {
		if b, ok := before.Stage(s.Stage); ok && b.Start != s.Start {
			out = append(out, Change{Stage: s.Stage, From: b.Start, To: s.Start})
		}
	}
	if before.Free.Expected != after.Free.Expected {
		out = append(out, Change{Stage: afterLast, From: before.Free.Expected, To: after.Free.Expected})
	}
	return out
}
