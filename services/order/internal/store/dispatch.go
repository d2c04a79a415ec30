package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Dispatch is what left one farm at one time for one day.
type Dispatch struct {
	ID, Farm, Day string
	Match         string
	At            time.Time
	By            string
	Lines         []DispatchLine
}

// DispatchLine is packs of one allocation that left.
type DispatchLine struct {
	Order, Product, Lot, Customer string
	Packs, Allocated              int64
	// PackIDs are the codes of the packs, given by AddDispatch.
	PackIDs []string
}

// Sent is what left for one order line from one lot.
type Sent struct {
	Order, Product, Lot string
	Packs               int64
}

// SentForDay returns what left for a day, by order, product and lot.
func SentForDay(ctx context.Context, db pg.DB, day string) ([]Sent, error) {
	return collect[Sent](ctx, db, "what left", `
		SELECT l.order_id, l.product_id, l.pick_lot_id, sum(l.packs)::bigint
		FROM dispatch d JOIN dispatch_line l USING (coop_id, dispatch_id)
		WHERE d.delivery_date = $1::date GROUP BY 1, 2, 3 ORDER BY 1, 2, 3`, day)
}

// SentForOrder returns what left for an order, by product and lot.
func SentForOrder(ctx context.Context, db pg.DB, order string) ([]Sent, error) {
	return collect[Sent](ctx, db, "what left", `
		SELECT order_id, product_id, pick_lot_id, sum(packs)::bigint FROM dispatch_line
		WHERE order_id = $1 GROUP BY 1, 2, 3 ORDER BY 1, 2, 3`, order)
}

// AddDispatch stores a dispatch: it gives it its number among the farm's dispatches of the day
// and its id, gives each pack its code, and returns it with all of them. The caller holds the
// Book.
func AddDispatch(ctx context.Context, tx pgx.Tx, d Dispatch) (Dispatch, error) {
	const head = `
		INSERT INTO dispatch (dispatch_id, farm_id, delivery_date, number, match_id, dispatched_at, dispatched_by)
		SELECT $1 || '-' || to_char($2::date, 'YYYYMMDD') || '-' || n, $1, $2::date, n, $3, $4, $5
		FROM (SELECT coalesce(max(number), 0) + 1 AS n FROM dispatch WHERE delivery_date = $2::date AND farm_id = $1) AS next
		RETURNING dispatch_id`
	if err := tx.QueryRow(ctx, head, d.Farm, d.Day, d.Match, d.At, d.By).Scan(&d.ID); err != nil {
		return Dispatch{}, fmt.Errorf("write dispatch: %w", err)
	}
	line := func(value func(DispatchLine) string) []string { return column(d.Lines, value) }
	if _, err := change(ctx, tx, "dispatch lines", `
		INSERT INTO dispatch_line (dispatch_id, order_id, product_id, pick_lot_id, customer_id, packs, allocated)
		SELECT $1, * FROM unnest($2::text[], $3::text[], $4::text[], $5::text[], $6::bigint[], $7::bigint[])`,
		d.ID, line(func(l DispatchLine) string { return l.Order }), line(func(l DispatchLine) string { return l.Product }),
		line(func(l DispatchLine) string { return l.Lot }), line(func(l DispatchLine) string { return l.Customer }),
		column(d.Lines, func(l DispatchLine) int64 { return l.Packs }),
		column(d.Lines, func(l DispatchLine) int64 { return l.Allocated })); err != nil {
		return Dispatch{}, err
	}
	return d, d.addPacks(ctx, tx)
}

// addPacks numbers the packs through the dispatch.
func (d *Dispatch) addPacks(ctx context.Context, tx pgx.Tx) error {
	var codes, orders, products, lots []string
	for i := range d.Lines {
		l := &d.Lines[i]
		for range l.Packs {
			code := fmt.Sprintf("%s-%04d", d.ID, len(codes)+1)
			l.PackIDs = append(l.PackIDs, code)
			codes, orders = append(codes, code), append(orders, l.Order)
			products, lots = append(products, l.Product), append(lots, l.Lot)
		}
	}
	_, err := change(ctx, tx, "packs", `
		INSERT INTO pack (pack_id, dispatch_id, number, order_id, product_id, pick_lot_id)
		SELECT p.code, $1, p.number, p.order_id, p.product_id, p.lot
		FROM unnest($2::text[], $3::text[], $4::text[], $5::text[]) WITH ORDINALITY AS p (code, order_id, product_id, lot, number)`,
		d.ID, codes, orders, products, lots)
	return err
}

// Pack is one pack that left.
type Pack struct {
	ID, Lot, Product, Farm, Customer, Order, Day string
	Confirmed                                    bool
}

const selectPacks = `
	SELECT p.pack_id, p.pick_lot_id, p.product_id, d.farm_id, h.customer_id, p.order_id, d.delivery_date::text, p.confirmed
	FROM pack p
	JOIN dispatch d USING (coop_id, dispatch_id)
	JOIN order_head h USING (coop_id, order_id)`

// PackByID returns one pack; found is false where there is none.
func PackByID(ctx context.Context, db pg.DB, id string) (p Pack, found bool, err error) {
	all, err := collect[Pack](ctx, db, "packs", selectPacks+` WHERE p.pack_id = $1`, id)
	if err != nil || len(all) == 0 {
		return Pack{}, false, err
	}
	return all[0], true, nil
}

// PacksOfLots returns every pack of the lots that left, by delivery day and code.
func PacksOfLots(ctx context.Context, db pg.DB, lots []string) ([]Pack, error) {
	return collect[Pack](ctx, db, "packs", selectPacks+`
		WHERE p.pick_lot_id = ANY($1) ORDER BY d.delivery_date, d.dispatch_id, p.number`, lots)
}
