package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// States of an order.
const (
	Placed    = "placed"
	Cancelled = "cancelled"
)

// Origins of an order.
const (
	ByHand       = "by_hand"
	FromStanding = "standing" // and nobody touched it
	Touched      = "touched"  // from standing orders, and changed or cancelled by somebody since
)

// Order is one order with its lines.
type Order struct {
	ID, Customer, Day, State, Origin string
	Change
	Lines []OrderLine
}

// OrderLine is a number of packs of one product.
type OrderLine struct {
	Product string
	Packs   int64
	// Smallest number of packs that is of use, 0 where any is.
	Smallest int64
}

// orderRow is one line of an order with its order.
type orderRow struct {
	ID, Customer, Day, State, Origin string
	Change
	OrderLine
}

const selectOrders = `
	SELECT h.order_id, h.customer_id, h.delivery_date::text, h.state, h.origin, h.version, h.changed_by, h.changed_at,
		l.product_id, l.packs, l.smallest
	FROM order_head h JOIN order_line l USING (coop_id, order_id)`

// OrdersOfDay returns the orders of a day by customer and id; of one customer where one is named.
func OrdersOfDay(ctx context.Context, db pg.DB, day, customer string) ([]Order, error) {
	rows, err := collect[orderRow](ctx, db, "orders", selectOrders+`
		WHERE h.delivery_date = $1::date AND ($2 = '' OR h.customer_id = $2)
		ORDER BY h.customer_id, h.order_id, l.position`, day, customer)
	return gather(rows), err
}

// OrdersByID returns those of the ids that exist.
func OrdersByID(ctx context.Context, db pg.DB, ids []string) (map[string]Order, error) {
	rows, err := collect[orderRow](ctx, db, "orders", selectOrders+`
		WHERE h.order_id = ANY($1) ORDER BY h.order_id, l.position`, ids)
	return keyed(gather(rows), func(o Order) string { return o.ID }), err
}

// OrdersBetween returns the orders of some customers for the days from one to another, both
// included, by day, customer and id. left has those of which packs have left.
func OrdersBetween(ctx context.Context, db pg.DB, from, until string, customers []string) (orders []Order, left map[string]bool, err error) {
	type row struct {
		orderRow
		Left bool
	}
	all, err := collect[row](ctx, db, "orders", `
		SELECT h.order_id, h.customer_id, h.delivery_date::text, h.state, h.origin, h.version, h.changed_by, h.changed_at,
			l.product_id, l.packs, l.smallest, EXISTS (SELECT FROM dispatch_line d WHERE d.order_id = h.order_id)
		FROM order_head h JOIN order_line l USING (coop_id, order_id)
		WHERE h.delivery_date BETWEEN $1::date AND $2::date AND h.customer_id = ANY($3)
		ORDER BY h.delivery_date, h.customer_id, h.order_id, l.position`, from, until, customers)
	left = make(map[string]bool)
	for _, r := range all {
		if r.Left {
			left[r.ID] = true
		}
	}
	return gather(column(all, func(r row) orderRow { return r.orderRow })), left, err
}

// StandingInPlaceOf returns the orders that standing orders placed, that nobody touched, and that
// are for the customer and day of one of the given orders without being it, by id.
func StandingInPlaceOf(ctx context.Context, db pg.DB, given []Order) ([]Order, error) {
	rows, err := collect[orderRow](ctx, db, "orders", selectOrders+`
		WHERE h.origin = 'standing' AND h.state = 'placed' AND h.order_id <> ALL($1)
			AND (h.customer_id, h.delivery_date) IN (SELECT customer, day::date FROM unnest($2::text[], $3::text[]) AS g (customer, day))
		ORDER BY h.order_id, l.position`,
		column(given, func(o Order) string { return o.ID }), column(given, func(o Order) string { return o.Customer }), column(given, func(o Order) string { return o.Day }))
	return gather(rows), err
}

// gather puts the lines of each order together; those of one order stand side by side.
func gather(rows []orderRow) []Order {
	var all []Order
	for _, r := range rows {
		if n := len(all); n == 0 || all[n-1].ID != r.ID {
			all = append(all, Order{ID: r.ID, Customer: r.Customer, Day: r.Day, State: r.State, Origin: r.Origin, Change: r.Change})
		}
		last := &all[len(all)-1]
		last.Lines = append(last.Lines, r.OrderLine)
	}
	return all
}

// SaveOrders creates or replaces orders with their lines; the caller has settled what they are
// to be.
func SaveOrders(ctx context.Context, tx pgx.Tx, all []Order) error {
	const heads = `
		INSERT INTO order_head (order_id, customer_id, delivery_date, state, version, changed_by, changed_at, origin)
		SELECT id, customer, day::date, state, version, by, at, origin
		FROM unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::bigint[], $6::text[], $7::timestamptz[], $8::text[])
			AS o (id, customer, day, state, version, by, at, origin)
		ON CONFLICT (coop_id, order_id) DO UPDATE SET
			state = EXCLUDED.state, origin = EXCLUDED.origin, version = EXCLUDED.version, changed_by = EXCLUDED.changed_by, changed_at = EXCLUDED.changed_at`
	ids := column(all, func(o Order) string { return o.ID })
	_, err := change(ctx, tx, "orders", heads, ids,
		column(all, func(o Order) string { return o.Customer }), column(all, func(o Order) string { return o.Day }),
		column(all, func(o Order) string { return o.State }), column(all, func(o Order) int64 { return o.Version }),
		column(all, func(o Order) string { return o.By }), column(all, func(o Order) time.Time { return o.At }),
		column(all, func(o Order) string { return o.Origin }))
	if err != nil {
		return err
	}
	if _, err := change(ctx, tx, "order lines", `DELETE FROM order_line WHERE order_id = ANY($1)`, ids); err != nil {
		return err
	}
	var orders, products []string
	var positions []int32
	var packs, smallest []int64
	for _, o := range all {
		for i, l := range o.Lines {
			orders, products = append(orders, o.ID), append(products, l.Product)
			positions, packs = append(positions, int32(i+1)), append(packs, l.Packs)
			smallest = append(smallest, l.Smallest)
		}
	}
	const lines = `
		INSERT INTO order_line (order_id, product_id, position, packs, smallest)
		SELECT * FROM unnest($1::text[], $2::text[], $3::integer[], $4::bigint[], $5::bigint[])`
	_, err = change(ctx, tx, "order lines", lines, orders, products, positions, packs, smallest)
	return err
}
