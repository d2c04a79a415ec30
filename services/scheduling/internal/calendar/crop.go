package calendar

import "breakshare.example/services/scheduling/internal/programme"

// Crop is one cycle of one programme, planned or running.
type Crop struct {
	// ID names the crop in errors and conflicts.
	ID string
	// Programme at the version the crop began with. Many crops share one value;
	// it must have passed Validate.
	Programme *programme.Programme
	// Fill is the planned day of filling, day 0.
	Fill Date
	// Facilities names the room or tunnel for each kind of place the crop
	// passes through; a name stands for one room or tunnel of the co-op, whatever
	// it is used as. A place without a name is not reserved.
	Facilities map[programme.Place]string
	// Load names the tunnel load the compost belongs to. Crops of one load share
	// its tunnel without conflict. Empty: the crop has its tunnel to itself.
	Load string
	// Recorded holds the days on which stages really began, in any order, one
	// for a stage at most.
	Recorded []Record
	// Freed is the day from which the room was free again; nil while it is not.
	Freed *Date
	// NotBefore holds the crop up: the stage that it waits for (see Awaited) begins
	// on this day at the earliest, since it is overdue or the room is not free. nil
	// where nothing does.
	NotBefore *Date
}

// Record is a stage that really began on a day.
type Record struct {
	Stage programme.StageKind
	On    Date
}

// Begun reports whether anything of the crop has really happened, so that it can
// no longer be moved as a whole.
func (c *Crop) Begun() bool { return len(c.Recorded) > 0 || c.Freed != nil }

// Calendar is the computed dates of one crop.
type Calendar struct {
	CropID string
	// Stages in the programme's order.
	Stages []StageDates
	// FirstPick is the window of the first pick.
	FirstPick Window
	// Breaks expected, in order; those after an early end are left out.
	Breaks []Break
	// Occupancies of rooms and tunnels in order of time.
	Occupancies []Occupancy
	// Free is the day from which the last room is free.
	Free Window
	// Flags tell what the programme or the co-op's rules do not foresee.
	Flags []Flag
}

// StageDates is when one stage runs.
type StageDates struct {
	Stage programme.StageKind
	Place programme.Place
	// Start is the first day; End the day on which the next stage starts.
	Start, End Date
	// Earliest and Latest bound Start by the least and most days of the stages
	// between it and what is recorded or planned. Equal to Start once recorded.
	Earliest, Latest Date
	// Recorded is true where Start is what really happened.
	Recorded bool
}

// Window is an expected day with its earliest and latest.
type Window struct{ Earliest, Expected, Latest Date }

// Break is the window in which one break is expected to be picked.
type Break struct {
	Number int // from 1
	// Start is the first day of picking, End the day after the last.
	Start, End Date
	// Earliest and Latest bound Start.
	Earliest, Latest Date
	// PerMille of the crop's yield expected in this break.
	PerMille int64
}

// Occupancy is a room or tunnel held by a crop from a day until, and not on,
// another.
type Occupancy struct {
	Place programme.Place
	// Facility is the room's or tunnel's name; empty where the crop names none.
	Facility    string
	From, Until Date
}

// StageOn is the stage that runs on a day; ok is false before the first and
// from the day the room is free.
func (c *Calendar) StageOn(d Date) (stage StageDates, ok bool) {
	for _, s := range c.Stages {
		if s.Start <= d && d < s.End {
			return s, true
		}
	}
	return StageDates{}, false
}

// Stage is the dates of the stage of a kind.
func (c *Calendar) Stage(kind programme.StageKind) (stage StageDates, ok bool) {
	for _, s := range c.Stages {
		if s.Stage == kind {
			return s, true
		}
	}
	return StageDates{}, false
}
