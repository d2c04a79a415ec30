package server

import (
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/standing"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/requestlog"
)

// planned is what standing orders mean for one customer and day.
type planned struct {
	customer, day string
	standing.Decision
	asking []string         // standing orders, by id
	order  store.Order      // of the day; zero where there is none
	lines  []standing.Packs // of that order
}

// writes tells whether anything is to be written for the day.
func (p planned) writes() bool {
	return p.Outcome == standing.Place || p.Outcome == standing.Change || p.Outcome == standing.Cancel
}

// planStanding says what the standing orders of some customers mean for the days of the horizon,
// by day and customer. It writes nothing.
func (s *Server) planStanding(ctx context.Context, tx pgx.Tx, about func(customer string) bool) ([]planned, error) {
	o, err := s.ordering(ctx, tx)
	if err != nil {
		return nil, err
	}
	// Those that were ended are among them: orders that came from them are to be cancelled.
	all, err := store.StandingOrders(ctx, tx, "", true)
	if err != nil {
		return nil, err
	}
	of, customers := make(map[string][]store.StandingOrder), []string{}
	for _, each := range all {
		if !about(each.Customer) {
			continue
		}
		if of[each.Customer] == nil {
			customers = append(customers, each.Customer)
		}
		of[each.Customer] = append(of[each.Customer], each)
	}
	from, until := o.horizon()
	have, err := ordersHad(ctx, tx, from, until, customers)
	if err != nil {
		return nil, err
	}
	var plans []planned
	for at := from; !at.After(until); at = at.AddDate(0, 0, 1) {
		day := at.Format(time.DateOnly)
		for _, customer := range customers {
			p, err := o.plan(customer, day, of[customer], have[customerDay{customer, day}])
			if err != nil {
				return nil, err
			}
			if p.Outcome != standing.Nothing {
				plans = append(plans, p)
			}
		}
	}
	return plans, nil
}

// customerDay is a customer and a day of delivery.
type customerDay struct{ customer, day string }

// had is an order and whether packs have left for it.
type had struct {
	store.Order
	left bool
}

// ordersHad reads the orders of customers for some days.
func ordersHad(ctx context.Context, tx pgx.Tx, from, until time.Time, customers []string) (map[customerDay][]had, error) {
	orders, left, err := store.OrdersBetween(ctx, tx, from.Format(time.DateOnly), until.Format(time.DateOnly), customers)
	have := make(map[customerDay][]had)
	for _, each := range orders {
		key := customerDay{each.Customer, each.Day}
		have[key] = append(have[key], had{each, left[each.ID]})
	}
	return have, err
}

var origins = map[string]standing.Origin{store.ByHand: standing.ByHand, store.FromStanding: standing.Standing, store.Touched: standing.Touched}

// plan says what becomes of one day of one customer.
func (o ordering) plan(customer, day string, orders []store.StandingOrder, have []had) (planned, error) {
	late, err := o.late(day)
	if err != nil {
		return planned{}, err
	}
	at, err := o.cutoffAt(day)
	if err != nil {
		return planned{}, err
	}
	rules := make([]standing.Order, len(orders))
	for i, each := range orders {
		rules[i] = standingRule(each)
	}
	want := standing.Want(rules, numberOf(day))
	known := standing.Day{Closed: o.closed(day) != "", Late: late}
	for _, each := range orders {
		if at != nil && !each.At.Before(*at) && slices.Contains(want.Orders, each.ID) {
			known.LateWish = true
		}
	}
	p := planned{customer: customer, day: day, asking: want.Orders}
	had := make([]standing.Have, len(have))
	for i, h := range have {
		had[i] = standing.Have{ID: h.ID, Origin: origins[h.Origin], Cancelled: h.State == store.Cancelled, Left: h.left, Lines: packsOf(h.Lines)}
	}
	p.Decision = standing.Decide(want, had, known)
	for i, h := range have {
		if h.ID == p.Order {
			p.order, p.lines = h.Order, had[i].Lines
		}
	}
	return p, nil
}

func packsOf(lines []store.OrderLine) []standing.Packs {
	packs := make([]standing.Packs, len(lines))
	for i, l := range lines {
		packs[i] = standing.Packs{Product: l.Product, Packs: l.Packs, Smallest: l.Smallest}
	}
	return packs
}

// ExpandStandingOrders implements OrderService.
func (s *Server) ExpandStandingOrders(ctx context.Context, req *orderv1.ExpandStandingOrdersRequest) (*orderv1.ExpandStandingOrdersResponse, error) {
	customer, err := customerAsked(ctx, req.GetCustomerId())
	if err != nil {
		return nil, err
	}
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.ExpandStandingOrdersResponse{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.ExpandStandingOrdersResponse, error) {
		plans, err := s.expand(ctx, tx, customer)
		return &orderv1.ExpandStandingOrdersResponse{Days: daysOut(plans)}, err
	})
}

// expand turns the standing orders of a customer, or of all where none is named, into orders.
func (s *Server) expand(ctx context.Context, tx pgx.Tx, customer string) ([]planned, error) {
	if err := store.Take(ctx, tx, store.Book); err != nil {
		return nil, err
	}
	plans, err := s.planStanding(ctx, tx, only(customer))
	if err != nil {
		return nil, err
	}
	return plans, s.carryOut(ctx, tx, plans)
}

// only says yes to one customer, or to all where none is named.
func only(customer string) func(string) bool {
	return func(c string) bool { return customer == "" || customer == c }
}

// ListStandingDays implements OrderService.
func (s *Server) ListStandingDays(ctx context.Context, req *orderv1.ListStandingDaysRequest) (*orderv1.ListStandingDaysResponse, error) {
	customer, err := customerAsked(ctx, req.GetCustomerId())
	if err != nil {
		return nil, err
	}
	resp := &orderv1.ListStandingDaysResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		plans, err := s.planStanding(ctx, tx, only(customer))
		resp.Days = daysOut(plans)
		return err
	})
	return resp, err
}

// outcomes has for each outcome its value in messages.
var outcomes = map[standing.Outcome]orderv1.StandingOutcome{
	standing.Place: orderv1.StandingOutcome_STANDING_OUTCOME_PLACED, standing.AsOrdered: orderv1.StandingOutcome_STANDING_OUTCOME_AS_ORDERED,
	standing.Change: orderv1.StandingOutcome_STANDING_OUTCOME_CHANGED, standing.Cancel: orderv1.StandingOutcome_STANDING_OUTCOME_CANCELLED,
	standing.Kept: orderv1.StandingOutcome_STANDING_OUTCOME_KEPT, standing.TooLate: orderv1.StandingOutcome_STANDING_OUTCOME_TOO_LATE,
	standing.Rests: orderv1.StandingOutcome_STANDING_OUTCOME_RESTS, standing.Closed: orderv1.StandingOutcome_STANDING_OUTCOME_CLOSED,
}

func daysOut(plans []planned) []*orderv1.StandingDay {
	days := make([]*orderv1.StandingDay, len(plans))
	for i, p := range plans {
		days[i] = &orderv1.StandingDay{
			CustomerId: p.customer, DeliveryDate: p.day, Outcome: outcomes[p.Outcome], Lines: packsOut(p.Lines), OrderId: p.Order, StandingOrderIds: p.asking,
		}
		if p.order.State == store.Placed {
			days[i].Ordered = packsOut(p.lines)
		}
	}
	return days
}

func packsOut(lines []standing.Packs) []*orderv1.OrderLine {
	out := make([]*orderv1.OrderLine, len(lines))
	for i, l := range lines {
		out[i] = &orderv1.OrderLine{ProductId: l.Product, Packs: l.Packs, SmallestPacks: l.Smallest}
	}
	return out
}
