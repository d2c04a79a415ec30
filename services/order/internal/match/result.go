package match

import "time"

// Match is the best way to share out a day.
type Match struct {
	// Lines, by customer, order and product: one for each line of the day.
	Lines []Got
	// Allocations, by farm, customer, product, lot and order.
	Allocations []Allocation
	// Products with an offer or an order, by id.
	Products []ProductSum
	// Farms with an offer, by id.
	Farms []FarmSum
	// Proof that it is the best.
	Proof Proof
}

// Got is what a line got.
type Got struct {
	Line
	// Matched packs, of Packs wanted.
	Matched int64
	// Reason why it got less than it wanted, or NotShort.
	Reason Reason
	// Explanation puts the reason in words, with figures; empty where the line is not short.
	Explanation string
}

// Reason is why a line is short.
type Reason uint8

// The reasons.
const (
	NotShort    Reason = iota
	NotOffered         // nobody has a pack of the product
	HigherClass        // customers of a higher class took what there is
	SameClass          // other lines of the same class took a part
	NotFit             // there are packs, but all are held or past their shelf life
	NotEnough          // the line got all that there is
)

// Allocation is a number of packs of one lot for one line.
type Allocation struct {
	Order, Customer, Product string
	Lot, Farm, Room          string
	Packs                    int64
}

// ProductSum sums up a product, in packs.
type ProductSum struct {
	Product string
	// Offered in all lots that are fit for the day.
	Offered int64
	// Ordered in all lines.
	Ordered int64
	// Matched is at most Offered and at most Ordered.
	Matched int64
}

// Left is what was offered and not matched.
func (p ProductSum) Left() int64 { return p.Offered - p.Matched }

// FarmSum sums up a farm, in packs.
type FarmSum struct {
	Farm             string
	Offered, Matched int64
}

// Proof is how the match is known to be the best: node prices under which every arc of the
// network with room left costs nothing or more, checked after solving.
type Proof struct {
	// Nodes and Arcs of the network.
	Nodes, Arcs int
	// Cost of the flow, in the units of the network: ranks, not money.
	Cost int64
	// Verified is true in every match that Run returns.
	Verified bool
	// Solving is the time the solver took.
	Solving time.Duration
}
