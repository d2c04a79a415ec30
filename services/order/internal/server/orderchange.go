package server

import (
	"context"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
)

// ChangeOrder implements OrderService. Packs that have left cannot be taken out of an order.
func (s *Server) ChangeOrder(ctx context.Context, req *orderv1.ChangeOrderRequest) (*orderv1.Order, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.Order{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.Order, error) {
		order, err := s.openOrder(ctx, tx, req.GetOrderId(), req.GetEtag())
		if err != nil {
			return nil, err
		}
		known, err := knownFor(ctx, tx, []*orderv1.Order{{Lines: req.GetLines()}})
		if err != nil {
			return nil, err
		}
		lines, err := linesIn(req.GetLines(), "", known)
		if err != nil {
			return nil, err
		}
		if slices.Equal(lines, order.Lines) {
			return orderOut(order), nil
		}
		if err := s.mayChange(ctx, tx, order, lines); err != nil {
			return nil, err
		}
		order.Lines, order.Change, order.Origin = lines, s.change(ctx, order.Version+1), touched(order.Origin)
		if err := tellOrder(ctx, tx, "changed", order); err != nil {
			return nil, err
		}
		return orderOut(order), store.SaveOrders(ctx, tx, []store.Order{order})
	})
}

// CancelOrder implements OrderService. An order of which packs have left cannot be cancelled.
func (s *Server) CancelOrder(ctx context.Context, req *orderv1.CancelOrderRequest) (*orderv1.Order, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.Order{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.Order, error) {
		order, err := s.openOrder(ctx, tx, req.GetOrderId(), req.GetEtag())
		if err != nil {
			return nil, err
		}
		if err := s.mayChange(ctx, tx, order, nil); err != nil {
			return nil, err
		}
		order.State, order.Change, order.Origin = store.Cancelled, s.change(ctx, order.Version+1), touched(order.Origin)
		if err := tellOrder(ctx, tx, "cancelled", order); err != nil {
			return nil, err
		}
		return orderOut(order), store.SaveOrders(ctx, tx, []store.Order{order})
	})
}

// touched is the origin of an order once somebody changed or cancelled it.
func touched(origin string) string {
	if origin == store.FromStanding {
		return store.Touched
	}
	return origin
}

// mayChange refuses a buyer after the cut-off, and lines with fewer packs than left for them
// already.
func (s *Server) mayChange(ctx context.Context, tx pgx.Tx, order store.Order, lines []store.OrderLine) error {
	when, err := s.ordering(ctx, tx)
	if err != nil {
		return err
	}
	if err := when.mayOrder(identity.Must(ctx), order.Day, "order "+order.ID); err != nil {
		return err
	}
	return s.keepsWhatLeft(ctx, tx, order.ID, lines)
}

// openOrder returns an order that the caller may change, as the caller read it, and holds the
// Book.
func (s *Server) openOrder(ctx context.Context, tx pgx.Tx, id, tag string) (store.Order, error) {
	if err := store.Take(ctx, tx, store.Book); err != nil {
		return store.Order{}, err
	}
	order, err := orderByID(ctx, tx, id)
	if err != nil {
		return store.Order{}, err
	}
	if tag != etag(order.Version) {
		return store.Order{}, saving.StaleEtag(fmt.Sprintf("order %q", id), "etag", order.Change)
	}
	if order.State == store.Cancelled {
		return store.Order{}, fault.New(fault.Precondition, "ORDER_CANCELLED", "order %q was cancelled by %s: place a new one", id, order.By).
			WithField("order "+id, "is cancelled: place a new one")
	}
	return order, nil
}

// orderByID returns an order that the caller may see.
func orderByID(ctx context.Context, tx pgx.Tx, id string) (store.Order, error) {
	found, err := store.OrdersByID(ctx, tx, []string{id})
	if err != nil {
		return store.Order{}, err
	}
	order, there := found[id]
	if !there {
		return store.Order{}, notFound("order", id)
	}
	return order, ownCustomer(identity.Must(ctx), order.Customer)
}

// keepsWhatLeft refuses lines that have fewer packs than left for them already.
func (s *Server) keepsWhatLeft(ctx context.Context, tx pgx.Tx, order string, lines []store.OrderLine) error {
	sent, err := store.SentForOrder(ctx, tx, order)
	if err != nil {
		return err
	}
	left := make(map[string]int64)
	for _, each := range sent {
		left[each.Product] += each.Packs
	}
	for _, l := range lines {
		if left[l.Product] <= l.Packs {
			delete(left, l.Product)
		}
	}
	for _, each := range sent {
		if packs := left[each.Product]; packs > 0 {
			return fault.New(fault.Precondition, "PACKS_LEFT", "%d packs of %s have left for order %q: it cannot have fewer", packs, each.Product, order).
				WithField("order "+order, "%d packs of %s have left", packs, each.Product)
		}
	}
	return nil
}
