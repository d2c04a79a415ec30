package match

// Day is all that a match needs to know.
type Day struct {
	// Number is the day of delivery, in days since 1970-01-01.
	Number int
	// Products are those of the lots and lines, each once.
	Products []Product
	// Lots that could supply the day. Those that are held or too old are not used, but named
	// where a line is short for want of them.
	Lots []Lot
	// Lines are what customers want, each order and product once.
	Lines []Line
	// Sent are packs that have left for this day's lines already: they stay as they are.
	Sent []Sent
}

// Product is what is sold.
type Product struct {
	ID string
	// Name stands in explanations.
	Name string
	// ShelfLife is the number of days after picking on which a pack may still be delivered, 0
	// or more; 0 is the day of picking only.
	ShelfLife int
}

// Lot is the packs of one product picked, or expected, in one room on one day.
type Lot struct {
	ID, Farm, Room, Product string
	// PickDay is in days since 1970-01-01, not after the day of delivery.
	PickDay int
	// Packs that the day may have, those of Sent included, 0 or more.
	Packs int64
	// Held lots may not be sold.
	Held bool
	// Carry is the cost of carrying one pack to the hub.
	Carry Carry
}

// Carry is a cost of carrying one pack, in thousandths of a minor unit of money.
type Carry struct {
	// Known is false where nobody has told the cost.
	Known bool
	// Milli is 0 or more.
	Milli int64
}

// Line is a number of packs of one product that one customer wants.
type Line struct {
	Order, Customer, Product string
	// Class is the customer's priority, 1 to 9; 1 goes first.
	Class int
	// Packs wanted, 1 or more.
	Packs int64
	// Value of one pack, in minor units of money, 0 or more.
	Value int64
}

// Sent is a number of packs of one lot that left for one line.
type Sent struct {
	Order, Product, Lot string
	Packs               int64
}

// Fit says whether a lot may be delivered on a day, and if not, why.
type Fit uint8

// The answers.
const (
	Fits     Fit = iota
	IsHeld       // may not be sold
	PastLife     // picked longer ago than the product's shelf life
)

// FitOn says whether the lot may be delivered on the day, given the product's shelf life.
func (l Lot) FitOn(day, shelfLife int) Fit {
	switch {
	case l.Held:
		return IsHeld
	case day-l.PickDay > shelfLife:
		return PastLife
	}
	return Fits
}
