package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Delivered is packs of one product from one pick lot that left for an order.
type Delivered struct {
	Order, Customer, Day, Product, Lot, Farm, Dispatch string
	At                                                 time.Time
	Packs                                              int64
	// Packed is the product of the lot.
	Packed string
}

// Asked narrows what is read of deliveries. Customer and Farm are empty for all.
type Asked struct{ From, Until, Customer, Farm string }

// DeliveredLines returns what left for orders of the days asked for, by day, customer, order,
// product, lot and dispatch.
func DeliveredLines(ctx context.Context, db pg.DB, a Asked) ([]Delivered, error) {
	return collect[Delivered](ctx, db, "deliveries", `
		SELECT l.order_id, l.customer_id, d.delivery_date::text, l.product_id, l.pick_lot_id, d.farm_id, d.dispatch_id, d.dispatched_at, l.packs,
			coalesce(s.product_id, l.product_id)
		FROM dispatch d
		JOIN dispatch_line l USING (coop_id, dispatch_id)
		LEFT JOIN supply s USING (coop_id, pick_lot_id)
		WHERE d.delivery_date BETWEEN $1::date AND $2::date AND ($3 = '' OR l.customer_id = $3) AND ($4 = '' OR d.farm_id = $4)
		ORDER BY d.delivery_date, l.customer_id, l.order_id, l.product_id, l.pick_lot_id, d.dispatched_at, d.dispatch_id`,
		a.From, a.Until, a.Customer, a.Farm)
}

// Receipt is what was confirmed of an order.
type Receipt struct {
	Delivery
	// Whole tells that all packs that left were confirmed: all of one farm's where one was asked
	// for.
	Whole bool
}

// Receipts returns what was confirmed of the orders, by order.
func Receipts(ctx context.Context, db pg.DB, orders []string, farm string) (map[string]Receipt, error) {
	all, err := collect[Receipt](ctx, db, "receipts", `
		SELECT r.order_id, r.dispatched_packs, r.received_packs, r.remark, r.confirmed_by, r.confirmed_at, NOT EXISTS (
			SELECT FROM pack p JOIN dispatch d USING (coop_id, dispatch_id)
			WHERE p.order_id = r.order_id AND NOT p.confirmed AND ($2 = '' OR d.farm_id = $2)
		)
		FROM delivery r WHERE r.order_id = ANY($1)`, orders, farm)
	return keyed(all, func(r Receipt) string { return r.Order }), err
}

// ReceiptProblem is a number of packs with which something is wrong.
type ReceiptProblem struct {
	Product, Lot string
	Kind         int32 // breakshare.order.v1.ReceiptProblemKind
	Packs        int64
	Remark       string
}

// ReceiptProblems returns what was found wrong with the orders, by order, in the order in which it
// was saved.
func ReceiptProblems(ctx context.Context, db pg.DB, orders []string) (map[string][]ReceiptProblem, error) {
	type row struct {
		Order string
		ReceiptProblem
	}
	all, err := collect[row](ctx, db, "receipt problems", `
		SELECT order_id, product_id, pick_lot_id, kind, packs, remark FROM receipt_problem
		WHERE order_id = ANY($1) ORDER BY order_id, position`, orders)
	problems := make(map[string][]ReceiptProblem)
	for _, r := range all {
		problems[r.Order] = append(problems[r.Order], r.ReceiptProblem)
	}
	return problems, err
}

// SaveReceiptProblems replaces what was found wrong with an order.
func SaveReceiptProblems(ctx context.Context, tx pgx.Tx, order string, all []ReceiptProblem) error {
	if _, err := change(ctx, tx, "receipt problems", `DELETE FROM receipt_problem WHERE order_id = $1`, order); err != nil {
		return err
	}
	_, err := change(ctx, tx, "receipt problems", `
		INSERT INTO receipt_problem (order_id, position, product_id, pick_lot_id, kind, packs, remark)
		SELECT $1, p.position, p.product_id, p.lot, p.kind, p.packs, p.remark
		FROM unnest($2::text[], $3::text[], $4::integer[], $5::bigint[], $6::text[]) WITH ORDINALITY AS p (product_id, lot, kind, packs, remark, position)`,
		order, column(all, func(p ReceiptProblem) string { return p.Product }), column(all, func(p ReceiptProblem) string { return p.Lot }),
		column(all, func(p ReceiptProblem) int32 { return p.Kind }), column(all, func(p ReceiptProblem) int64 { return p.Packs }),
		column(all, func(p ReceiptProblem) string { return p.Remark }))
	return err
}
