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
	// Binds is all that stands between the line and more packs, what weighs most first.
	Binds []Bind
	// Farms is the number of farms that its packs come from.
	Farms int
}

// Bind is one thing that stands between a line and more packs.
type Bind struct {
	Reason Reason
	// Packs that it keeps from the line.
	Packs int64
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
	Excluded           // there are packs, from farms or lots that are not to go to the line
	NotPromised        // packs are likely, but not sure enough to be promised
	TooFewOfUse        // what was left was fewer than the line can use
	ByHand             // a coordinator decided so
)

// Allocation is a number of packs of one lot for one line.
type Allocation struct {
	Order, Customer, Product string
	Lot, Farm, Room          string
	// Packed is the product of the lot: another than Product where the customer takes that
	// instead.
	Packed string
	Packs  int64
}

// ProductSum sums up a product, in packs.
type ProductSum struct {
	Product string
	// Offered in all lots that are fit for the day.
	Offered int64
	// Ordered in all lines.
	Ordered int64
	// Matched of what was ordered.
	Matched int64
	// Given of what was offered, also to lines that ordered something else.
	Given int64
	// Price of a pack.
	Price Price
	// Left says in words what might have taken what is left over; empty where nothing is.
	LeftOver string
}

// Left is what was offered and not given.
func (p ProductSum) Left() int64 { return p.Offered - p.Given }

// Price is what a pack more or fewer of a product would change in the value met, exactly.
type Price struct {
	// More is what one pack more, from a farm that anybody takes, would be worth, in minor
	// units; the next might be worth less.
	More int64
	// Fewer is what one pack fewer would cost, where Has is set: there is one to lose.
	Fewer int64
	Has   bool
	// Order and Customer, if set, would end up with the pack more, of the product For.
	Order, Customer, For string
}

// FarmSum sums up a farm, in packs.
type FarmSum struct {
	Farm             string
	Offered, Matched int64
}

// Proof is how the match is known to be the best: node prices under which every arc of the
// network with room left costs nothing or more, checked after each solve.
type Proof struct {
	// Nodes and Arcs of the network.
	Nodes, Arcs int
	// Phases is how many times it was solved, aim after aim; Pivots is their work.
	Phases int
	Pivots int64
	// Cost of the flow in the first phase, in the units of the network: not money.
	Cost int64
	// Verified is true in every match that Run returns.
	Verified bool
	// Solving is the time the solver took.
	Solving time.Duration
	// Gap is by class, 0 being what was pinned, how much value the match has less than the
	// network proves that none can exceed, for the rules that are not a network's. In minor
	// units; all 0 where the match is the best there is.
	Gap [10]int64
	// Splits is how many allocations there are more than lines that got something.
	Splits int
}

// Value of the demand met, in minor units, less reluctance.
func (m Match) Value() int64 {
	got, sum := make(map[lineKey]*Got, len(m.Lines)), int64(0)
	for i := range m.Lines {
		got[lineKey{m.Lines[i].Order, m.Lines[i].Product}] = &m.Lines[i]
	}
	for _, a := range m.Allocations {
		line := got[lineKey{a.Order, a.Product}]
		sum += a.Packs * worth(line.Line)
		for _, t := range line.Instead {
			if t.Product == a.Packed {
				sum -= a.Packs * t.Reluctance
			}
		}
	}
	return sum
}
