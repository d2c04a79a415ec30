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
	PickStage   string // as growth names it; empty where it has none
	Grade       string
	PackGrams   int64 // 0 where nobody told
	PackValue   int64 // minor units
	Version     int64 // 0 for an answer that was asked for
}

// SaveProduct keeps the product unless a version as new is there.
func SaveProduct(ctx context.Context, db pg.DB, p Product) error {
	const sql = `
		INSERT INTO product (product_id, species, pick_stage, grade, pack_grams, pack_value_minor, version)
		VALUES ($1, $2, $3, $4, nullif($5, 0), $6, $7)
		ON CONFLICT (coop_id, product_id) DO UPDATE
		SET species = excluded.species, pick_stage = excluded.pick_stage, grade = excluded.grade,
		    pack_grams = excluded.pack_grams, pack_value_minor = excluded.pack_value_minor, version = excluded.version
		WHERE product.version < excluded.version`
	if _, err := db.Exec(ctx, sql, p.ID, p.Species, p.PickStage, p.Grade, p.PackGrams, p.PackValue, p.Version); err != nil {
		return fmt.Errorf("save product %s: %w", p.ID, err)
	}
	return nil
}

// Products returns those of the products that are known, by id.
func Products(ctx context.Context, db pg.DB, ids []string) (map[string]Product, error) {
	list, err := collect(ctx, db, pgx.RowToStructByPos[Product], `SELECT `+productColumns+` FROM product WHERE product_id = ANY($1)`, ids)
	if err != nil {
		return nil, wrap("read products", err)
	}
	return index(list, func(p Product) string { return p.ID }), nil
}

// productColumns in the order of Product's fields.
const productColumns = `product_id, species, pick_stage, grade, coalesce(pack_grams, 0), coalesce(pack_value_minor, 0), version`

// AllProducts returns every product by id.
func AllProducts(ctx context.Context, db pg.DB) ([]Product, error) {
	list, err := collect(ctx, db, pgx.RowToStructByPos[Product], allProductsSQL)
	return list, wrap("read products", err)
}

const allProductsSQL = `SELECT ` + productColumns + ` FROM product ORDER BY product_id`
