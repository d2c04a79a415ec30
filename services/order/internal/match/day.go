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
	// Farms say what is special about some farms; a farm that is not among them is like any.
	Farms []Farm
	// ZoneCosts replace what it costs to carry a farm's packs to the hub, where the customer's
	// zone has a cost of its own from that farm.
	ZoneCosts []ZoneCost
	// Pins are what the coordinator decides by hand.
	Pins []Pin
	// Kept is the match that the day has: where it is given, as little as may be changes.
	Kept []Sent
	// Rules say how what is short and what is left over are shared.
	Rules Rules
	// Money writes an amount of minor units in explanations; nil calls them so.
	Money func(minor int64) string
}

// Rules are a co-op's settings for sharing.
type Rules struct {
	// Short says how customers of a class share what is short.
	Short ShortRule
	// Left says how farms share what is left over.
	Left LeftRule
}

// ShortRule is how what is short is shared between customers of a class.
type ShortRule uint8

// The rules. The zero value gives each customer as many packs as the next, by weight.
const (
	ShortByWeight  ShortRule = iota // equal packs for equal weights, as far as ordered
	ShortByOrdered                  // packs in proportion to weight times what was ordered
	ShortInTurn                     // not shared: by customer and order
)

// LeftRule is how what is left over is shared between farms.
type LeftRule uint8

// The rules. The zero value sells of each farm in proportion to what it offers.
const (
	LeftByOffer  LeftRule = iota // in proportion to the packs offered of the product
	LeftByShares                 // in proportion to member shares
	LeftByCarry                  // not shared: the cheapest to carry is sold first
)

// Product is what is sold.
type Product struct {
	ID string
	// Name stands in explanations.
	Name string
	// Kind tells which products are nearly the same, such as the species; empty for unknown.
	Kind string
	// Grams of one pack, 0 where it is not known: then no price per kilogram is given.
	Grams int64
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
	// Withheld is how many packs more are likely than are promised, 0 or more.
	Withheld int64
	// Held lots may not be sold.
	Held bool
	// KeepsUntil is the last day on which it keeps, by how warm it is held, in days since
	// 1970-01-01; 0 where that is not known and the product's shelf life alone counts.
	KeepsUntil int
	// Carry is the cost of carrying one pack to the hub.
	Carry Carry
}

// Farm is what is special about a farm.
type Farm struct {
	ID string
	// Shares are its member shares, 1 or more; 0 where they are not known counts as 1.
	Shares int64
	// Ahead is how many packs more than its fair part the farm has sold over the season, as far
	// as that shall tilt this day; negative where it is behind.
	Ahead int64
}

// ZoneCost is what it costs to carry one kilogram from a farm to a zone of customers.
type ZoneCost struct {
	Farm, Zone string
	// MinorPerKg is in minor units of money, 0 or more.
	MinorPerKg int64
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
	// Least is the smallest number of packs that is of use, 0 to Packs; with fewer the customer
	// would rather have none.
	Least int64
	// Instead are products that the customer takes in place of the one ordered, each once.
	Instead []Instead
	// NotFrom are farms whose packs the customer does not take.
	NotFrom []string
	// OnlyFrom, if set, is the one farm whose packs the customer takes.
	OnlyFrom string
	// OneFarm is a wish that all packs of the line come from one farm, whichever: it is met
	// where that costs no aim anything.
	OneFarm bool
	// Zone of the customer in ZoneCosts; empty for none.
	Zone string
	// Weight of the customer where a class shares what is short, 1 or more; 0 counts as 1.
	Weight int64
}

// Instead is a product taken in place of another.
type Instead struct {
	Product string
	// Reluctance is what a pack counts for less than one of the product ordered, in minor units
	// of money, 0 or more. It is never given where nothing of its value would be left.
	Reluctance int64
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
	TooWarm      // within its shelf life, but held too warm to keep so long
)

// FitOn says whether the lot may be delivered on the day, given the product's shelf life.
func (l Lot) FitOn(day, shelfLife int) Fit {
	switch {
	case l.Held:
		return IsHeld
	case day-l.PickDay > shelfLife:
		return PastLife
	case l.KeepsUntil > 0 && day > l.KeepsUntil:
		return TooWarm
	}
	return Fits
}
