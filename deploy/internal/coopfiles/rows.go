package coopfiles

import "time"

// At is where a row stands in its file.
type At struct{ Line int }

func (a *At) at() *At { return a }

// Coop is the row of coop.csv.
type Coop struct {
	At
	CoopID, Name, TimeZone, CurrencyCode string
}

// Farm is a row of farms.csv.
type Farm struct {
	At
	FarmID, Name, Place                 string
	MemberShares, CarryCostMinorPerKilo int64
}

// Room is a row of rooms.csv.
type Room struct {
	At
	RoomID, FarmID, Name, GrowingSystem string
	AreaM2                              int64
}

// Yard is a row of yards.csv.
type Yard struct {
	At
	YardID, Name, Place string
}

// Product is a row of products.csv.
type Product struct {
	At
	ProductID, Name, Species, Strain, PickStage, Size, Grade string
	PackGrams, PackValueMinor, ShelfLifeDays                 int64
}

// Customer is a row of customers.csv.
type Customer struct {
	At
	CustomerID, Name, Place string
	PriorityClass           int64
}

// Crop is a row of crops.csv. One of the two dates is empty.
type Crop struct {
	At
	CropID, RoomID, ProgrammeID, FillDate, FirstPickDate string
}

// Stage is a row of stages.csv.
type Stage struct {
	At
	CropID, Kind, Date string
}

// Slot is a row of slots.csv.
type Slot struct {
	At
	SlotID, YardID, ReadyDate, Phase                    string
	CapacityKilos, SmallestLotKilos, PriceMinorPerTonne int64
	RequestCutoff                                       time.Time
}

// CompostRequest is a row of compost_requests.csv.
type CompostRequest struct {
	At
	CompostRequestID, FarmID, RoomID, CropID string
	WantedKilos, SmallestUsefulKilos         int64
	WholeFill                                bool
	EarliestDate, LatestDate                 string
	Phases                                   []string
}

// Lot is a row of lots.csv.
type Lot struct {
	At
	LotID, YardID, SlotID, Phase, StartedDate string
	MadeKilos                                 int64
}

// LotMark is a row of lot_marks.csv.
type LotMark struct {
	At
	LotID, Mark string
	Time        time.Time
}

// Reading is a row of readings.csv. The value is in thousandths of its unit.
type Reading struct {
	At
	LotID, ProbeID, Kind string
	Time                 time.Time
	ValueThousandths     int64
}

// ClimateReading is a row of climate.csv. The value is in thousandths of its unit.
type ClimateReading struct {
	At
	RoomID, Kind     string
	Time             time.Time
	ValueThousandths int64
}

// Release is a row of releases.csv.
type Release struct {
	At
	LotID, ReleasedBy, ExceptionReason string
	ReleasedAt                         time.Time
}

// Delivery is a row of deliveries.csv.
type Delivery struct {
	At
	LotID, FarmID, RoomID, CropID string
	DeliveredKilos                int64
	DeliveredAt                   time.Time
}

// OrderRow is a row of orders.csv: one line of an order.
type OrderRow struct {
	At
	OrderID, CustomerID, DeliveryDate, ProductID string
	Packs, SmallestPacks                         int64
}

// Ordering is the row of ordering.csv. CutoffTime is empty for no cut-off.
type Ordering struct {
	At
	CutoffTime                    string
	CutoffDaysBefore, HorizonDays int64
}

// StandingRow is a row of standing_orders.csv: one line of a standing order.
type StandingRow struct {
	At
	StandingOrderID, CustomerID, ProductID string
	Weekdays                               []string
	Packs, SmallestPacks                   int64
	FromDate, UntilDate                    string
	SkipDates                              []string
}

// ExpectedPick is a row of expected_picks.csv.
type ExpectedPick struct {
	At
	RoomID, ProductID, Date          string
	LowGrams, LikelyGrams, HighGrams int64
}

// Pick is a row of picks.csv. BreakNumber 0 is not noted.
type Pick struct {
	At
	RoomID, ProductID, Date       string
	GrossGrams, TareGrams, Crates int64
	Picker                        string
	BreakNumber                   int64
}
