package server

import (
	"context"
	"slices"
	"time"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/demand"
	"breakshare.example/services/scheduling/internal/store"
)

// standingOrders are the co-op's standing orders with what is needed to count each
// gram once: the days for which they have become orders, the days without
// deliveries, and what their customers ordered by hand before.
type standingOrders struct {
	span   span
	orders []demand.StandingOrder
	placed map[store.CustomerDay]bool
	closed map[calendar.Date]bool
	byHand map[string][]demand.ByHand // by product
}

// standingFrom reads the standing orders; past is the first day of the history.
func standingFrom(ctx context.Context, db pg.DB, span span, past calendar.Date, products []store.Product, marked []store.MarkedDay) (*standingOrders, error) {
	s := &standingOrders{span: span, closed: map[calendar.Date]bool{}, byHand: map[string][]demand.ByHand{}}
	stored, err := store.ListStandingOrders(ctx, db, span.current)
	if err != nil || len(stored) == 0 {
		return s, err
	}
	var customers []string
	for _, o := range stored {
		s.orders = append(s.orders, standingOrder(o, products))
		customers = append(customers, o.CustomerID)
	}
	slices.Sort(customers)
	if s.placed, err = store.StandingDays(ctx, db, span.current); err != nil {
		return nil, err
	}
	for _, d := range marked {
		if d.Closed {
			s.closed[d.On] = true
		}
	}
	byHand, err := store.ListOrderedByHand(ctx, db, slices.Compact(customers), past, span.current)
	if err != nil {
		return nil, err
	}
	for _, o := range byHand {
		s.byHand[o.ProductID] = append(s.byHand[o.ProductID], demand.ByHand{CustomerID: o.CustomerID, Week: o.Week, Grams: o.Grams})
	}
	return s, nil
}

// standingOrder is the order as the rules know it. Lines of products not told of
// yet wait for them.
func standingOrder(o store.StandingOrder, products []store.Product) demand.StandingOrder {
	out := demand.StandingOrder{CustomerID: o.CustomerID, From: o.From, Until: o.Until}
	for _, l := range o.Lines {
		i := slices.IndexFunc(products, func(p store.Product) bool { return p.ID == l.ProductID })
		if i >= 0 {
			out.Lines = append(out.Lines, demand.StandingLine{
				ProductID: l.ProductID, Weekday: time.Weekday(l.Weekday % 7), Grams: l.Packs * products[i].PackGrams,
			})
		}
	}
	for _, r := range o.Rests {
		out.Rests = append(out.Rests, demand.Rest(r))
	}
	return out
}

// ahead is what standing orders come to in each week from the current one on: what
// they have become orders for, and what they ask for on the other days.
func (s *standingOrders) ahead(productID string, ordered map[calendar.Date]store.Ordered) []demand.Standing {
	skip := func(customerID string, day calendar.Date) bool {
		return s.closed[day] || s.placed[store.CustomerDay{CustomerID: customerID, Day: day}]
	}
	weeks := map[calendar.Date]int64{}
	for _, w := range demand.StandingAhead(s.orders, productID, s.span.today, s.span.current, horizonWeeks, skip) {
		weeks[w.Week] = w.Grams
	}
	var out []demand.Standing
	for k := range horizonWeeks {
		week := s.span.current.Add(7 * k)
		if grams := weeks[week] + ordered[week].StandingGrams; grams > 0 {
			out = append(out, demand.Standing{Week: week, Grams: grams})
		}
	}
	return out
}

// replaced is what standing orders have taken the place of in weeks that are over.
func (s *standingOrders) replaced(productID string) []demand.Standing {
	return demand.Replaced(s.orders, productID, s.byHand[productID])
}
