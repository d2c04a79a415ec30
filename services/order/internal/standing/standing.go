// Package standing says what standing orders ask for on a day, and what that means for the orders
// that the day has.
//
// Standing orders give way to people: an order that somebody placed, changed or cancelled by hand
// stands, whatever the standing orders say. An order that came from them and that nobody touched
// follows them until it is too late. Asking twice gives the same answer as asking once.
//
// Days are counted from 1970-01-01.
package standing

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// NoEnd is the last day of a standing order that goes on until further notice.
const NoEnd = math.MaxInt

// Week is a set of days of the week: bit 0 is Monday, bit 6 Sunday.
type Week uint8

// On returns the set with a day in addition, numbered as ISO 8601 numbers them: 1 is Monday, 7
// Sunday.
func (w Week) On(weekday int) Week { return w | 1<<(weekday-1) }

// Has tells whether a day, 1 to 7, is in the set.
func (w Week) Has(weekday int) bool { return w&(1<<(weekday-1)) != 0 }

// Weekday is the day of the week of a day, 1 to 7. Day 0, 1970-01-01, was a Thursday.
func Weekday(day int) int { return ((day+3)%7+7)%7 + 1 }

// Line is a number of packs of one product on some days of every week.
type Line struct {
	Product         string
	Packs, Smallest int64
	Week            Week
}

// Rest is the first and last of days on which a standing order rests.
type Rest struct{ From, Until int }

// Order is one standing order.
type Order struct {
	ID    string
	Lines []Line
	// From is the first day of delivery, Until the last, or NoEnd.
	From, Until int
	Rests       []Rest
	// Paused rests until somebody has it go on; Ended asks for nothing any more.
	Paused, Ended bool
}

// Problem is something in a standing order that makes no sense.
type Problem struct {
	// Field is where, for example "lines[2].smallest_packs".
	Field string
	// Text says what is wrong and how to mend it.
	Text string
}

// Error implements error.
func (p *Problem) Error() string { return "standing order: " + p.Field + " " + p.Text }

// Check returns a *Problem for an order that makes no sense by itself.
func (o Order) Check() error {
	if o.Until < o.From {
		return &Problem{"until_date", "is before from_date: give a later day, or none"}
	}
	for i, l := range o.Lines {
		if l.Smallest > l.Packs {
			return &Problem{fmt.Sprintf("lines[%d].smallest_packs", i), fmt.Sprintf("%d are the fewest of use, of %d wanted: give no more than are wanted", l.Smallest, l.Packs)}
		}
		for j, earlier := range o.Lines[:i] {
			if earlier.Product == l.Product && earlier.Week&l.Week != 0 {
				return &Problem{fmt.Sprintf("lines[%d].weekdays", i), fmt.Sprintf("has a day on which line %d has %s already: give each day once for a product", j, l.Product)}
			}
		}
	}
	for i, r := range o.Rests {
		if r.Until < r.From {
			return &Problem{fmt.Sprintf("exceptions[%d].until_date", i), "is before from_date: give a later day, or none"}
		}
		for j, earlier := range o.Rests[:i] {
			if r.From <= earlier.Until && earlier.From <= r.Until {
				return &Problem{fmt.Sprintf("exceptions[%d].from_date", i), fmt.Sprintf("has days of exception %d: give each day once", j)}
			}
		}
	}
	return nil
}

// Clash finds a product that two standing orders of one customer both ask for on the same day of
// the week while both last. It returns the line of the first order; found is false where there is
// none.
func Clash(a, b Order) (line int, found bool) {
	if a.Ended || b.Ended || a.Until < b.From || b.Until < a.From {
		return 0, false
	}
	for i, mine := range a.Lines {
		for _, theirs := range b.Lines {
			if mine.Product == theirs.Product && mine.Week&theirs.Week != 0 {
				return i, true
			}
		}
	}
	return 0, false
}

// Packs are the packs of one product on one day.
type Packs struct {
	Product         string
	Packs, Smallest int64
}

// Wanted is what the standing orders of one customer ask for on one day.
type Wanted struct {
	// Lines by product; none where nothing is asked for.
	Lines []Packs
	// Rests is true where something would be asked for, were the orders not resting.
	Rests bool
	// Orders that ask or rest, by id.
	Orders []string
}

// Want says what a customer's standing orders ask for on a day, the order in which they come being
// of no matter.
func Want(orders []Order, day int) Wanted {
	var w Wanted
	for _, o := range orders {
		if o.Ended || day < o.From || day > o.Until {
			continue
		}
		lines := o.on(Weekday(day))
		if len(lines) == 0 {
			continue
		}
		w.Orders = append(w.Orders, o.ID)
		if o.restsOn(day) {
			w.Rests = true
			continue
		}
		w.Lines = append(w.Lines, lines...)
	}
	slices.Sort(w.Orders)
	slices.SortFunc(w.Lines, func(a, b Packs) int { return cmp.Compare(a.Product, b.Product) })
	return w
}

func (o Order) on(weekday int) []Packs {
	var lines []Packs
	for _, l := range o.Lines {
		if l.Week.Has(weekday) {
			lines = append(lines, Packs{l.Product, l.Packs, l.Smallest})
		}
	}
	return lines
}

func (o Order) restsOn(day int) bool {
	return o.Paused || slices.ContainsFunc(o.Rests, func(r Rest) bool { return r.From <= day && day <= r.Until })
}
