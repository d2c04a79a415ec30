package calendar

import (
	"fmt"

	"breakshare.example/services/scheduling/internal/programme"
)

// FlagKind says what a flag tells of.
type FlagKind string

// The kinds of flags.
const (
	// OutsideRange: between two recorded stages lie fewer days than the least or
	// more than the most that the programme gives.
	OutsideRange FlagKind = "outside range"
	// ClosedDay: a stage falls on a day when it may not begin, and no open day
	// lies within its least and most days.
	ClosedDay FlagKind = "closed day"
)

// Flag is something a person should look at.
type Flag struct {
	Kind FlagKind
	// Stage the flag is about; for OutsideRange the stage that lasted too short
	// or too long, up to Until.
	Stage, Until programme.StageKind
	On           Date
	// Days that really passed, with the least and most the programme gives.
	// All zero for ClosedDay.
	Days, Least, Most int
	// Source of the range; empty for ClosedDay or where several sources add up.
	Source programme.Source
	// Reason in words.
	Reason string
}

// afterLast stands for the day the room is free, which is no stage.
const afterLast programme.StageKind = "free"

func outsideRange(p *programme.Programme, i, j int, from Date, days int, span programme.Range) Flag {
	f := Flag{
		Kind: OutsideRange, Stage: p.Stages[i].Kind, Until: afterLast, On: from,
		Days: days, Least: int(span.Least), Most: int(span.Most),
	}
	if j < len(p.Stages) {
		f.Until = p.Stages[j].Kind
	}
	if j == i+1 {
		f.Source = p.Sources[p.Stages[i].Days.Source]
	}
	f.Reason = fmt.Sprintf("%d days from %s to %s; the programme gives %d to %d", days, f.Stage, f.Until, f.Least, f.Most)
	return f
}
