package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

// Product is what the order service tells of a product.
type Product struct {
	ID, Name, Species         string
	PickStage                 programme.PickStage
	PackGrams, PackValueMinor int64
	Version                   int64
}

// Order is what the order service tells of an order.
type Order struct {
	ID         string
	CustomerID string
	Delivery   calendar.Date
	Cancelled  bool
	// Standing says that it came from a standing order.
	Standing bool
	Lines    []OrderLine
	Version  int64
}

// OrderLine is packs of one product.
type OrderLine struct {
	ProductID string
	Packs     int64
}

// Ordered is the grams of a product that stand in orders for one week.
type Ordered struct {
	ProductID string
	Week      calendar.Date // a Monday
	Grams     int64
	// StandingGrams is the part of orders that came from standing orders.
	StandingGrams int64
}

// SaveProduct keeps the product unless a newer version is there.
func SaveProduct(ctx context.Context, tx pgx.Tx, coopID string, p Product) error {
	const sql = `
		INSERT INTO product AS old (coop_id, product_id, name, species, pick_stage, pack_grams, pack_value_minor, version)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
		ON CONFLICT (coop_id, product_id) DO UPDATE SET
			name = excluded.name, species = excluded.species, pick_stage = excluded.pick_stage,
			pack_grams = excluded.pack_grams, pack_value_minor = excluded.pack_value_minor, version = excluded.version
		WHERE old.version < excluded.version`
	if _, err := tx.Exec(ctx, sql, coopID, p.ID, p.Name, p.Species, p.PickStage, p.PackGrams, p.PackValueMinor, p.Version); err != nil {
		return fmt.Errorf("keep product %q: %w", p.ID, err)
	}
	return nil
}

// ListProducts reads all products, or the one of the id where it is not empty.
func ListProducts(ctx context.Context, db pg.DB, productID string) ([]Product, error) {
	const sql = `
		SELECT product_id, name, species, pick_stage, pack_grams, pack_value_minor, version
		FROM product WHERE $1 = '' OR product_id = $1 ORDER BY product_id COLLATE "C"`
	rows, err := db.Query(ctx, sql, productID)
	if err != nil {
		return nil, fmt.Errorf("list products: %w", err)
	}
	products, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (Product, error) {
		var p Product
		err := row.Scan(&p.ID, &p.Name, &p.Species, &p.PickStage, &p.PackGrams, &p.PackValueMinor, &p.Version)
		return p, err
	})
	if err != nil {
		return nil, fmt.Errorf("list products: %w", err)
	}
	return products, nil
}

// SaveOrder keeps the order with its lines unless a newer version is there.
func SaveOrder(ctx context.Context, tx pgx.Tx, coopID string, o Order) error {
	const sql = `
		INSERT INTO customer_order AS old (coop_id, order_id, delivery_date, cancelled, version, customer_id, origin)
		VALUES ($1, $2, ` + epoch + ` + $3::integer, $4, $5, $6, CASE WHEN $7 THEN 'standing' ELSE 'hand' END)
		ON CONFLICT (coop_id, order_id) DO UPDATE SET
			delivery_date = excluded.delivery_date, cancelled = excluded.cancelled, version = excluded.version,
			customer_id = excluded.customer_id, origin = excluded.origin
		WHERE old.version < excluded.version`
	tag, err := tx.Exec(ctx, sql, coopID, o.ID, o.Delivery, o.Cancelled, o.Version, o.CustomerID, o.Standing)
	if err != nil {
		return fmt.Errorf("keep order %q: %w", o.ID, err)
	}
	if tag.RowsAffected() == 0 {
		return nil
	}
	if _, err := tx.Exec(ctx, `DELETE FROM customer_order_line WHERE order_id = $1`, o.ID); err != nil {
		return fmt.Errorf("keep the lines of order %q: %w", o.ID, err)
	}
	products, packs := make([]string, len(o.Lines)), make([]int64, len(o.Lines))
	for i, l := range o.Lines {
		products[i], packs[i] = l.ProductID, l.Packs
	}
	const lines = `
		INSERT INTO customer_order_line (coop_id, order_id, product_id, packs)
		SELECT $1, $2, product_id, sum(packs) FROM unnest($3::text[], $4::bigint[]) AS l (product_id, packs) GROUP BY product_id`
	if _, err := tx.Exec(ctx, lines, coopID, o.ID, products, packs); err != nil {
		return fmt.Errorf("keep the lines of order %q: %w", o.ID, err)
	}
	return nil
}

// ListOrdered sums the orders that are not cancelled by product and week, from a
// day on, in that order. Orders of products not told of yet wait for them.
func ListOrdered(ctx context.Context, db pg.DB, from calendar.Date) ([]Ordered, error) {
	// Packs are summed up before products are looked at: the planner knows how many lines orders
	// have, and would guess at what a join with products leaves of them.
	const sql = `
		WITH summed AS MATERIALIZED (
			SELECT l.product_id, o.delivery_date, sum(l.packs) AS packs, coalesce(sum(l.packs) FILTER (WHERE o.origin = 'standing'), 0) AS standing
			FROM customer_order o JOIN customer_order_line l USING (coop_id, order_id)
			WHERE NOT o.cancelled AND o.delivery_date >= ` + epoch + ` + $1::integer
			GROUP BY l.product_id, o.delivery_date)
		SELECT s.product_id, date_trunc('week', s.delivery_date)::date - ` + epoch + `, sum(s.packs * p.pack_grams)::bigint, sum(s.standing * p.pack_grams)::bigint
		FROM summed s JOIN product p USING (product_id)
		GROUP BY 1, 2 ORDER BY s.product_id COLLATE "C", 2`
	rows, err := db.Query(ctx, sql, from)
	if err != nil {
		return nil, fmt.Errorf("sum orders: %w", err)
	}
	ordered, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Ordered])
	if err != nil {
		return nil, fmt.Errorf("sum orders: %w", err)
	}
	return ordered, nil
}
