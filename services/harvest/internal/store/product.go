package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Product is what the co-op sells, as the order service told of it.
type Product struct {
	ID, Species string
	Version     int64 // 0 for an answer that was asked for
}

// SaveProduct keeps the product unless a version as new is there.
func SaveProduct(ctx context.Context, db pg.DB, p Product) error {
	const sql = `
		INSERT INTO product (product_id, species, version) VALUES ($1, $2, $3)
		ON CONFLICT (coop_id, product_id) DO UPDATE
		SET species = excluded.species, version = excluded.version
		WHERE product.version < excluded.version`
	if _, err := db.Exec(ctx, sql, p.ID, p.Species, p.Version); err != nil {
		return fmt.Errorf("save product %s: %w", p.ID, err)
	}
	return nil
}

// Products returns those of the products that are known, by id.
func Products(ctx context.Context, db pg.DB, ids []string) (map[string]Product, error) {
	const sql = `SELECT product_id, species, version FROM product WHERE product_id = ANY($1)`
	rows, err := db.Query(ctx, sql, ids)
	if err != nil {
		return nil, fmt.Errorf("read products: %w", err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Product])
	if err != nil {
		return nil, fmt.Errorf("read products: %w", err)
	}
	return index(list, func(p Product) string { return p.ID }), nil
}
