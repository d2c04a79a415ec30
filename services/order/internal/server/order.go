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
)

// longestID is what an id of the suite may have in characters.
const longestID = 64

// PlaceOrder implements OrderService.
func (s *Server) PlaceOrder(ctx context.Context, req *orderv1.PlaceOrderRequest) (*orderv1.Order, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.Order{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.Order, error) {
		placed, err := s.placeOrders(ctx, tx, []*orderv1.Order{req.GetOrder()}, func(int) string { return "order" })
		if err != nil {
			return nil, err
		}
		return placed[0], nil
	})
}

// BatchPlaceOrders implements OrderService.
func (s *Server) BatchPlaceOrders(ctx context.Context, req *orderv1.BatchPlaceOrdersRequest) (*orderv1.BatchPlaceOrdersResponse, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.BatchPlaceOrdersResponse{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.BatchPlaceOrdersResponse, error) {
		placed, err := s.placeOrders(ctx, tx, req.GetOrders(), func(i int) string { return fmt.Sprintf("orders[%d]", i) })
		return &orderv1.BatchPlaceOrdersResponse{Orders: placed}, err
	})
}

// placeOrders places all or none and tells of each that is new.
func (s *Server) placeOrders(ctx context.Context, tx pgx.Tx, given []*orderv1.Order, path func(int) string) ([]*orderv1.Order, error) {
	if err := store.Take(ctx, tx, store.Book); err != nil {
		return nil, err
	}
	known, err := knownFor(ctx, tx, given)
	if err != nil {
		return nil, err
	}
	orders := make([]store.Order, len(given))
	for i, o := range given {
		if orders[i], err = s.orderIn(ctx, o, path(i), known); err != nil {
			return nil, err
		}
	}
	ids, err := distinct(orders, func(o store.Order) string { return o.ID }, func(i int) string { return path(i) + ".order_id" })
	if err != nil {
		return nil, err
	}
	stored, err := store.OrdersByID(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	when, err := s.ordering(ctx, tx)
	if err != nil {
		return nil, err
	}
	placed := make([]*orderv1.Order, len(given))
	var fresh []store.Order
	for i, o := range orders {
		last, there := stored[o.ID]
		if there && !anew(given[i], o, last) {
			if err := alreadyPlaced(o, last, path(i)); err != nil {
				return nil, err
			}
			placed[i] = orderOut(last)
			continue
		}
		o.Version = last.Version + 1
		if err := when.mayOrder(identity.Must(ctx), o.Day, path(i)+".delivery_date"); err != nil {
			return nil, err
		}
		fresh, placed[i] = append(fresh, o), orderOut(o)
		if err := tellOrder(ctx, tx, "placed", o); err != nil {
			return nil, err
		}
	}
	if err := s.giveWay(ctx, tx, fresh); err != nil {
		return nil, err
	}
	return placed, store.SaveOrders(ctx, tx, fresh)
}

// giveWay cancels what standing orders ordered for a day that somebody orders for by hand, so that
// it is not ordered twice.
func (s *Server) giveWay(ctx context.Context, tx pgx.Tx, fresh []store.Order) error {
	standing, err := store.StandingInPlaceOf(ctx, tx, fresh)
	if err != nil {
		return err
	}
	for i := range standing {
		o := &standing[i]
		if err := s.keepsWhatLeft(ctx, tx, o.ID, nil); err != nil {
			return err
		}
		o.State, o.Change = store.Cancelled, s.change(ctx, o.Version+1)
		if err := tellOrder(ctx, tx, "cancelled", *o); err != nil {
			return err
		}
	}
	return store.SaveOrders(ctx, tx, standing)
}

// anew tells whether an order without an id of its own takes the place of the cancelled one of the
// same customer and day.
func anew(given *orderv1.Order, o, last store.Order) bool {
	return given.GetOrderId() == "" && last.State == store.Cancelled && last.Customer == o.Customer && last.Day == o.Day
}

// alreadyPlaced refuses an order whose id is taken, unless it says nothing new.
func alreadyPlaced(o, last store.Order, path string) error {
	if o.Customer == last.Customer && o.Day == last.Day && o.State == last.State && slices.Equal(o.Lines, last.Lines) {
		return nil
	}
	return fault.New(fault.Exists, "ORDER_EXISTS", "order %q is there already (%s for %s, last saved by %s): change that one, or give this one an id of its own",
		last.ID, last.Customer, last.Day, last.By).WithField(path+".order_id", "is taken: change that order, or give this one an id of its own")
}

// catalogue is what orders may name.
type catalogue struct {
	customers map[string]store.Customer
	products  map[string]store.Product
}

// knownFor reads the customers and products that orders name.
func knownFor(ctx context.Context, tx pgx.Tx, given []*orderv1.Order) (catalogue, error) {
	var customers, products []string
	for _, o := range given {
		customers = append(customers, o.GetCustomerId())
		for _, l := range o.GetLines() {
			products = append(products, l.GetProductId())
		}
	}
	var c catalogue
	var err error
	if c.customers, err = store.CustomersByID(ctx, tx, customers); err != nil {
		return c, err
	}
	c.products, err = store.ProductsByID(ctx, tx, products)
	return c, err
}

// orderIn reads a new order and refuses what makes no sense in it.
func (s *Server) orderIn(ctx context.Context, o *orderv1.Order, path string, known catalogue) (store.Order, error) {
	order := store.Order{ID: o.GetOrderId(), Customer: o.GetCustomerId(), Day: o.GetDeliveryDate(), State: store.Placed, Origin: store.ByHand, Change: s.change(ctx, 1)}
	if err := ownCustomer(identity.Must(ctx), order.Customer); err != nil {
		return order, err
	}
	if _, there := known.customers[order.Customer]; !there {
		return order, fault.InvalidField(path+".customer_id", "there is no customer %q: save it first", order.Customer)
	}
	if _, err := dayNumber(path+".delivery_date", order.Day); err != nil {
		return order, err
	}
	if order.ID == "" {
		order.ID = order.Customer + "-" + compact(order.Day)
	}
	if len(order.ID) > longestID {
		return order, fault.InvalidField(path+".order_id", "formed of customer and day it has %d characters and %d are the most: give a shorter one", len(order.ID), longestID)
	}
	var err error
	order.Lines, err = linesIn(o.GetLines(), path+".", known)
	return order, err
}

// linesIn reads the lines of an order. prefix is the path of what holds them, with its dot.
func linesIn(given []*orderv1.OrderLine, prefix string, known catalogue) ([]store.OrderLine, error) {
	path := func(i int) string { return fmt.Sprintf("%slines[%d].product_id", prefix, i) }
	if _, err := distinct(given, (*orderv1.OrderLine).GetProductId, path); err != nil {
		return nil, err
	}
	lines := make([]store.OrderLine, len(given))
	for i, l := range given {
		if _, there := known.products[l.GetProductId()]; !there {
			return nil, fault.InvalidField(path(i), "there is no product %q: save it first", l.GetProductId())
		}
		if l.GetSmallestPacks() > l.GetPacks() {
			return nil, fault.InvalidField(fmt.Sprintf("%slines[%d].smallest_packs", prefix, i), "%d are the fewest of use, of %d ordered: give no more than were ordered", l.GetSmallestPacks(), l.GetPacks())
		}
		lines[i] = store.OrderLine{Product: l.GetProductId(), Packs: l.GetPacks(), Smallest: l.GetSmallestPacks()}
	}
	return lines, nil
}

// ListOrders implements OrderService. A buyer sees the own orders.
func (s *Server) ListOrders(ctx context.Context, req *orderv1.ListOrdersRequest) (*orderv1.ListOrdersResponse, error) {
	customer, err := customerAsked(ctx, req.GetCustomerId())
	if err != nil {
		return nil, err
	}
	if _, err := dayNumber("delivery_date", req.GetDeliveryDate()); err != nil {
		return nil, err
	}
	resp := &orderv1.ListOrdersResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		all, err := store.OrdersOfDay(ctx, tx, req.GetDeliveryDate(), customer)
		for _, o := range all {
			resp.Orders = append(resp.Orders, orderOut(o))
		}
		return err
	})
	return resp, err
}

// originOut has for each origin its value in messages.
var originOut = map[string]orderv1.OrderOrigin{
	store.ByHand: orderv1.OrderOrigin_ORDER_ORIGIN_BY_HAND, store.FromStanding: orderv1.OrderOrigin_ORDER_ORIGIN_STANDING,
	store.Touched: orderv1.OrderOrigin_ORDER_ORIGIN_STANDING_TOUCHED,
}

func orderOut(o store.Order) *orderv1.Order {
	out := &orderv1.Order{
		OrderId: o.ID, CustomerId: o.Customer, DeliveryDate: o.Day, State: orderv1.OrderState_ORDER_STATE_PLACED,
		Version: o.Version, Etag: etag(o.Version), Origin: originOut[o.Origin],
	}
	if o.State == store.Cancelled {
		out.State = orderv1.OrderState_ORDER_STATE_CANCELLED
	}
	for _, l := range o.Lines {
		out.Lines = append(out.Lines, &orderv1.OrderLine{ProductId: l.Product, Packs: l.Packs, SmallestPacks: l.Smallest})
	}
	return out
}
