package genealogy

import (
	"slices"

	"breakshare.example/services/harvest/internal/day"
)

// Crop is one cycle of one room, with the real dates where they are known and
// the planned ones where not.
type Crop struct {
	ID      string
	RoomID  string
	FarmID  string
	Species string
	Fill    day.Date // day 0
	// FirstPick is the first day of picking, Fill or later.
	FirstPick day.Date
	// Free is the day on which the room is free again: the first day after the
	// crop. A crop whose Free is not after Fill stood on no day.
	Free day.Date
	// Filled is true once the crop is really in the room, Ended once it has
	// really left. Both are false while it is planned.
	Filled, Ended bool
}

// Delivery is a part of a compost lot brought to a room.
type Delivery struct {
	ID        string
	CompostID string
	RoomID    string
	CropID    string // as the yard noted it; empty where it did not
	Kilograms int64
	Day       day.Date
}

// Compost is one lot of compost as its yard has told of it.
type Compost struct {
	ID         string
	YardID     string
	SlotID     string // empty where it was made for none
	ReleasedBy string // empty until released
	Exception  string // why it was released without full evidence; empty otherwise
	Held       bool
	HoldReason string
}

// PickLot is what was or will be picked of one product in one room on one day.
type PickLot struct {
	RoomID string
	Day    day.Date
	// CropID is the crop to which the lot was put down before; empty for a new
	// lot. It stands where the crops known now have none in the room that day.
	CropID string
}

// Origin is what follows for a pick lot from where it comes.
type Origin struct {
	CropID     string   // empty where no crop is known
	CompostIDs []string // the lots under the crop, by id; nil where none is known
	// Held is true where any of them is held; Reason names each with why.
	Held   bool
	Reason string
	// Exception names each lot released by exception, with why; empty where
	// there is none.
	Exception string
}

// Equal reports whether both say the same.
func (o Origin) Equal(p Origin) bool {
	return o.CropID == p.CropID && slices.Equal(o.CompostIDs, p.CompostIDs) &&
		o.Held == p.Held && o.Reason == p.Reason && o.Exception == p.Exception
}
