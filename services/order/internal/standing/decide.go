package standing

import (
	"cmp"
	"slices"
)

// Outcome is what standing orders mean for one customer and day.
type Outcome uint8

// The outcomes.
const (
	// Nothing is asked for and nothing is ordered by them.
	Nothing Outcome = iota
	// Place an order: there is none, or theirs was cancelled by them before.
	Place
	// AsOrdered is an order that says what they ask for.
	AsOrdered
	// Change the order that came from them.
	Change
	// Cancel the order that came from them.
	Cancel
	// Kept is an order by hand that says something else.
	Kept
	// TooLate to do what they ask for.
	TooLate
	// Rests on the day.
	Rests
	// Closed is a day without deliveries.
	Closed
)

// Origin is where an order comes from.
type Origin uint8

// The origins.
const (
	ByHand   Origin = iota // somebody placed it
	Standing               // it came from standing orders, and nobody touched it
	Touched                // it came from them, and somebody changed or cancelled it since
)

// Have is an order of the customer for the day.
type Have struct {
	ID        string
	Origin    Origin
	Cancelled bool
	// Left tells that packs have left for it.
	Left  bool
	Lines []Packs
}

// Day is what is known of a day.
type Day struct {
	// Closed tells that nothing is delivered on it.
	Closed bool
	// Late tells that its cut-off is past.
	Late bool
	// LateWish tells that a standing order that asks was changed after the cut-off, so that what
	// it asked for before is not known.
	LateWish bool
}

// Decision is an outcome and the order it is about.
type Decision struct {
	Outcome Outcome
	// Order is the id of the order that the day has; empty where there is none.
	Order string
	// Lines are what is asked for, by product; none where it rests.
	Lines []Packs
}

// Decide says what becomes of a customer's day: what is wanted against the orders that there are.
func Decide(w Wanted, have []Have, d Day) Decision {
	out := Decision{Lines: w.Lines}
	if d.Closed {
		out.Lines = nil
	}
	o, there := pick(have)
	if there {
		out.Order = o.ID
	}
	if there && o.Origin != Standing {
		out.Outcome = byHand(w, out.Lines, o, d)
		return out
	}
	standing := there && !o.Cancelled
	switch {
	case len(out.Lines) == 0 && standing && (d.Late || o.Left):
		out.Outcome = TooLate
	case len(out.Lines) == 0 && standing:
		out.Outcome = Cancel
	case len(out.Lines) == 0:
		out.Outcome = nothing(w, d)
	case standing && same(o.Lines, out.Lines):
		out.Outcome = AsOrdered
	case standing && (d.Late || o.Left):
		out.Outcome = TooLate
	case standing:
		out.Outcome = Change
	case d.Late && (there || d.LateWish):
		out.Outcome = TooLate
	default:
		out.Outcome = Place
	}
	return out
}

// pick chooses the order that the day goes by: of those by hand the first, placed ones before
// cancelled ones, else the one that came from standing orders.
func pick(have []Have) (Have, bool) {
	if len(have) == 0 {
		return Have{}, false
	}
	rank := func(h Have) int {
		switch {
		case h.Origin != Standing && !h.Cancelled:
			return 0
		case h.Origin != Standing:
			return 1
		case !h.Cancelled:
			return 2
		}
		return 3
	}
	return slices.MinFunc(have, func(a, b Have) int { return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a.ID, b.ID)) }), true
}

// byHand is the outcome where somebody placed, changed or cancelled the order of the day.
func byHand(w Wanted, lines []Packs, o Have, d Day) Outcome {
	switch {
	case len(lines) == 0:
		return nothing(w, d)
	case !o.Cancelled && same(o.Lines, lines):
		return AsOrdered
	}
	return Kept
}

// nothing is why nothing is asked for.
func nothing(w Wanted, d Day) Outcome {
	switch {
	case d.Closed && len(w.Orders) > 0:
		return Closed
	case w.Rests:
		return Rests
	}
	return Nothing
}

// same compares lines, their order being of no matter.
func same(a, b []Packs) bool {
	byProduct := func(x, y Packs) int { return cmp.Compare(x.Product, y.Product) }
	return slices.Equal(slices.SortedFunc(slices.Values(a), byProduct), slices.SortedFunc(slices.Values(b), byProduct))
}
