package demand

import (
	"slices"
	"time"

	"breakshare.example/services/scheduling/internal/calendar"
)

// StandingOrder is what one customer wants week by week until further notice. One
// that is paused or has ended asks for nothing: leave it out.
type StandingOrder struct {
	CustomerID string
	// From is the first day of delivery, Until the last; nil for no end.
	From  calendar.Date
	Until *calendar.Date
	Lines []StandingLine
	// Rests are days on which it asks for nothing.
	Rests []Rest
}

// StandingLine is grams of one product on one day of every week.
type StandingLine struct {
	ProductID string
	Weekday   time.Weekday
	Grams     int64
}

// Rest is a run of days, both included.
type Rest struct {
	From, Until calendar.Date
}

// grams is what the order asks for of a product on a day.
func (o *StandingOrder) grams(productID string, day calendar.Date) int64 {
	if day < o.From || o.Until != nil && day > *o.Until ||
		slices.ContainsFunc(o.Rests, func(r Rest) bool { return r.From <= day && day <= r.Until }) {
		return 0
	}
	var total int64
	for _, l := range o.Lines {
		if l.ProductID == productID && l.Weekday == day.Weekday() {
			total += l.Grams
		}
	}
	return total
}

// StandingAhead is what standing orders ask for of a product on the days from a day
// on, until the end of the weeks from first. Days are left out that skip says so of,
// for a customer: an order already tells of them, or nothing is delivered.
func StandingAhead(orders []StandingOrder, productID string, from, first calendar.Date, weeks int, skip func(customerID string, day calendar.Date) bool) []Standing {
	var out []Standing
	for week := first; week < first.Add(7*weeks); week = week.Add(7) {
		var total int64
		for day := max(week, from); day < week.Add(7); day++ {
			for i := range orders {
				if grams := orders[i].grams(productID, day); grams > 0 && !skip(orders[i].CustomerID, day) {
					total += grams
				}
			}
		}
		if total > 0 {
			out = append(out, Standing{Week: week, Grams: total})
		}
	}
	return out
}

// ByHand is what a customer ordered of a product in a week that is over, otherwise
// than by a standing order.
type ByHand struct {
	CustomerID string
	Week       calendar.Date // a Monday
	Grams      int64
}

// Replaced is how much of orders by hand standing orders have taken the place of
// since: what a customer ordered in weeks before the standing order began, up to
// what that asks for in a week. It is standing demand, not loose demand; else it
// would be forecast once more beside the standing order.
func Replaced(orders []StandingOrder, productID string, past []ByHand) []Standing {
	type standing struct {
		grams int64
		from  calendar.Date
	}
	by := map[string]standing{}
	for i := range orders {
		o := &orders[i]
		s, known := by[o.CustomerID]
		var weekly int64
		for _, l := range o.Lines {
			if l.ProductID == productID {
				weekly += l.Grams
			}
		}
		if weekly == 0 {
			continue
		}
		if !known || o.From < s.from {
			s.from = o.From
		}
		s.grams += weekly
		by[o.CustomerID] = s
	}
	weeks := map[calendar.Date]int64{}
	for _, p := range past {
		if s, ok := by[p.CustomerID]; ok && p.Week < s.from.Week() {
			weeks[p.Week] += min(p.Grams, s.grams)
		}
	}
	out := make([]Standing, 0, len(weeks))
	for week, grams := range weeks {
		out = append(out, Standing{Week: week, Grams: grams})
	}
	slices.SortFunc(out, func(a, b Standing) int { return a.Week.Sub(b.Week) })
	return out
}
