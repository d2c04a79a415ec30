package server

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/standing"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
)

// SaveStandingOrder implements OrderService.
func (s *Server) SaveStandingOrder(ctx context.Context, req *orderv1.SaveStandingOrderRequest) (*orderv1.StandingOrder, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.StandingOrder{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.StandingOrder, error) {
		saved, err := s.saveStanding(ctx, tx, []*orderv1.StandingOrder{req.GetStandingOrder()}, func(int) string { return "standing_order" })
		if err != nil {
			return nil, err
		}
		return saved[0], nil
	})
}

// BatchSaveStandingOrders implements OrderService.
func (s *Server) BatchSaveStandingOrders(ctx context.Context, req *orderv1.BatchSaveStandingOrdersRequest) (*orderv1.BatchSaveStandingOrdersResponse, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.BatchSaveStandingOrdersResponse{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.BatchSaveStandingOrdersResponse, error) {
		saved, err := s.saveStanding(ctx, tx, req.GetStandingOrders(), func(i int) string { return fmt.Sprintf("standing_orders[%d]", i) })
		return &orderv1.BatchSaveStandingOrdersResponse{StandingOrders: saved}, err
	})
}

// saveStanding saves all or none, tells of each that changed, and turns those into orders.
func (s *Server) saveStanding(ctx context.Context, tx pgx.Tx, given []*orderv1.StandingOrder, path func(int) string) ([]*orderv1.StandingOrder, error) {
	if err := store.Take(ctx, tx, store.Book); err != nil {
		return nil, err
	}
	ids, err := distinct(given, (*orderv1.StandingOrder).GetStandingOrderId, func(i int) string { return path(i) + ".standing_order_id" })
	if err != nil {
		return nil, err
	}
	stored, err := store.StandingOrdersByID(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	known, err := knownForStanding(ctx, tx, given)
	if err != nil {
		return nil, err
	}
	saved, at := make([]*orderv1.StandingOrder, len(given)), make(map[string]int)
	var rows []store.StandingOrder
	for i, m := range given {
		last, found := stored[ids[i]]
		row, write, err := standingToSave(ctx, m, path(i), known, last, found)
		if err != nil {
			return nil, err
		}
		if write {
			row.Change = s.change(ctx, last.Version+1)
			at[row.ID], rows = i, append(rows, row)
		}
		saved[i] = standingOut(row)
	}
	if err := noClash(ctx, tx, rows, func(id string) string { return path(at[id]) }); err != nil {
		return nil, err
	}
	return saved, s.keepStanding(ctx, tx, rows)
}

// keepStanding stores standing orders, tells of them, and turns them into orders. The caller holds
// the Book.
func (s *Server) keepStanding(ctx context.Context, tx pgx.Tx, rows []store.StandingOrder) error {
	if err := store.SaveStandingOrders(ctx, tx, rows); err != nil {
		return err
	}
	customers := make(map[string]bool)
	for _, row := range rows {
		if err := tell(ctx, tx, "standing_order", "saved", row.ID, &orderv1.StandingOrderSaved{StandingOrder: standingOut(row), Version: row.Version}); err != nil {
			return err
		}
		customers[row.Customer] = true
	}
	if len(customers) == 0 {
		return nil
	}
	plans, err := s.planStanding(ctx, tx, func(customer string) bool { return customers[customer] })
	if err != nil {
		return err
	}
	return s.carryOut(ctx, tx, plans)
}

// standingToSave reads a standing order and says whether there is anything to write.
func standingToSave(ctx context.Context, m *orderv1.StandingOrder, path string, known catalogue, last store.StandingOrder, found bool) (row store.StandingOrder, write bool, err error) {
	if err := ownCustomer(identity.Must(ctx), m.GetCustomerId()); err != nil {
		return row, false, err
	}
	if found {
		if err := ownCustomer(identity.Must(ctx), last.Customer); err != nil {
			return row, false, err
		}
		if last.Customer != m.GetCustomerId() {
			return row, false, fault.InvalidField(path+".customer_id", "standing order %q is of %q and stays so: give another one an id of its own", last.ID, last.Customer)
		}
	}
	if row, err = standingIn(m, path, known); err != nil {
		return row, false, err
	}
	row.Change, row.Ended = last.Change, last.Ended
	write, err = saving.Save{
		Thing: fmt.Sprintf("standing order %q", row.ID), Path: path, Etag: m.GetEtag(), Found: found, Equal: found && sameStanding(row, last), Last: last.Change,
	}.Decide()
	if err == nil && write && last.Ended {
		return row, false, endedAlready(last)
	}
	return row, write, err
}

func endedAlready(last store.StandingOrder) error {
	return fault.New(fault.Precondition, "STANDING_ORDER_ENDED", "standing order %q was ended by %s: save a new one", last.ID, last.By).
		WithField("standing order "+last.ID, "was ended: save a new one")
}

// noClash refuses standing orders that ask for what another of the customer asks for on the same
// day of the week.
func noClash(ctx context.Context, tx pgx.Tx, rows []store.StandingOrder, path func(id string) string) error {
	if len(rows) == 0 {
		return nil
	}
	customer := ""
	if len(rows) == 1 {
		customer = rows[0].Customer
	}
	others, err := store.StandingOrders(ctx, tx, customer, false)
	if err != nil {
		return err
	}
	all := make(map[string][]store.StandingOrder)
	fresh := make(map[string]bool, len(rows))
	for _, row := range rows {
		fresh[row.ID] = true
		all[row.Customer] = append(all[row.Customer], row)
	}
	for _, o := range others {
		if !fresh[o.ID] {
			all[o.Customer] = append(all[o.Customer], o)
		}
	}
	for _, row := range rows {
		mine := standingRule(row)
		for _, o := range all[row.Customer] {
			if o.ID == row.ID {
				continue
			}
			if line, found := standing.Clash(mine, standingRule(o)); found {
				return fault.InvalidField(fmt.Sprintf("%s.lines[%d].weekdays", path(row.ID), line), "standing order %q has %s on one of these days too: change that one, or leave the day out", o.ID, row.Lines[line].Product)
			}
		}
	}
	return nil
}

// EndStandingOrder implements OrderService.
func (s *Server) EndStandingOrder(ctx context.Context, req *orderv1.EndStandingOrderRequest) (*orderv1.StandingOrder, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.StandingOrder{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.StandingOrder, error) {
		if err := store.Take(ctx, tx, store.Book); err != nil {
			return nil, err
		}
		found, err := store.StandingOrdersByID(ctx, tx, []string{req.GetStandingOrderId()})
		if err != nil {
			return nil, err
		}
		o, there := found[req.GetStandingOrderId()]
		if !there {
			return nil, notFound("standing order", req.GetStandingOrderId())
		}
		if err := ownCustomer(identity.Must(ctx), o.Customer); err != nil {
			return nil, err
		}
		switch {
		case req.GetEtag() != etag(o.Version):
			return nil, saving.StaleEtag(fmt.Sprintf("standing order %q", o.ID), "etag", o.Change)
		case o.Ended:
			return nil, endedAlready(o)
		}
		o.Ended, o.Change = true, s.change(ctx, o.Version+1)
		return standingOut(o), s.keepStanding(ctx, tx, []store.StandingOrder{o})
	})
}

// ListStandingOrders implements OrderService.
func (s *Server) ListStandingOrders(ctx context.Context, req *orderv1.ListStandingOrdersRequest) (*orderv1.ListStandingOrdersResponse, error) {
	customer, err := customerAsked(ctx, req.GetCustomerId())
	if err != nil {
		return nil, err
	}
	resp := &orderv1.ListStandingOrdersResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		all, err := store.StandingOrders(ctx, tx, customer, req.GetWithEnded())
		for _, o := range all {
			resp.StandingOrders = append(resp.StandingOrders, standingOut(o))
		}
		return err
	})
	return resp, err
}

// customerAsked is the customer that a list is about: for a buyer the own, whom else the one asked
// for, empty for all.
func customerAsked(ctx context.Context, customer string) (string, error) {
	id := identity.Must(ctx)
	if id.Role == identity.Buyer && customer == "" {
		customer = id.CustomerID
	}
	return customer, ownCustomer(id, customer)
}
