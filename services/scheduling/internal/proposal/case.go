package proposal

import (
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

// Case is a co-op as it stands, before a number of weeks.
type Case struct {
	// First is the Monday of the first week; fills before Today are not proposed.
	First, Today calendar.Date
	Weeks        int
	Kinds        []Kind
	Programmes   []*programme.Programme // newest versions, by id
	Farms        []Farm                 // by id
	Rooms        []Room                 // by id
	Crops        []Crop                 // all that have not ended, and ended ones that still count
	Slots        []Slot
	// UnpublishedKg is the capacity of a week after the last published slot; nil
	// for the mean of the weeks with slots.
	UnpublishedKg *int64
	Prices        Prices
	Wishes        Wishes
	Rules         *calendar.Rules
}

// Kind is what is sold and planned together: a species at a stage of picking.
type Kind struct {
	programme.Product
	// Cents per kilogram too few and too many.
	ShortCents, OverCents int64
	// DemandGrams by week.
	DemandGrams []int64
}

// Farm is a member.
type Farm struct {
	ID     string
	Shares int64
}

// Room is a growing room.
type Room struct {
	ID, FarmID string
	AreaM2     int64
	System     programme.System
}

// Crop is a crop that stands or is planned.
type Crop struct {
	ID, RoomID, FarmID string
	Programme          *programme.Programme
	AreaM2             int64
	Calendar           calendar.Calendar
	Fill, Free         calendar.Date
	// Begun: something of it has happened, so it stays as it is.
	Begun bool
}

// Slot is a published batch slot.
type Slot struct {
	YardID                string
	Ready                 calendar.Date
	Phase                 int
	CapacityKg, GrantedKg int64
}

// Prices in cents; 0 is not reckoned.
type Prices struct {
	CompostPerTonne, SpawnPerKg, CasingPerTonne, LabourPerHour int64
}

// Wishes bend the plan.
type Wishes struct {
	// Replan lets planned crops be planned anew.
	Replan bool
	// Keep and Forbid are fills by ids.
	Keep, Forbid []Choice
	// ChangeCents is what leaving out or adding one fill must save.
	ChangeCents int64
	// BalanceCentsPerKg weighs fairness between farms.
	BalanceCentsPerKg int64
	// FarmMinutes is the work a farm can do in a week, 0 for no limit; PeakPerHour
	// is what an hour beyond it costs more, in cents.
	FarmMinutes, PeakPerHour int64
}

// Choice is a programme in a room in the week of a Monday.
type Choice struct {
	RoomID, ProgrammeID string
	Week                calendar.Date
}

// ChoiceError is a fill to keep or forbid that cannot be.
type ChoiceError struct {
	// Kept tells whether it stands among the fills to keep, at Index; else among
	// those to forbid.
	Kept   bool
	Index  int
	Field  string // room_id, programme_id or week
	Detail string
}

// Error says what is wrong and how to mend it.
func (e *ChoiceError) Error() string { return e.Detail }
