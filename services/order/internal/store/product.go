package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Product is one row of product.
type Product struct {
	ID, Name, Species, Strain string
	PickStage                 int32 // breakshare.type.v1.PickStage
	Size, Grade               string
	PackGrams, PackValueMinor int64
	ShelfLifeDays             int32
	Change
}

const selectProducts = `
	SELECT product_id, name, species, strain, pick_stage, size, grade, pack_grams, pack_value_minor, shelf_life_days,
		version, changed_by, changed_at
	FROM product`

// Products returns all products by id.
func Products(ctx context.Context, db pg.DB) ([]Product, error) {
	return collect[Product](ctx, db, "products", selectProducts+` ORDER BY product_id`)
}

// ProductsByID returns those of the ids that exist.
func ProductsByID(ctx context.Context, db pg.DB, ids []string) (map[string]Product, error) {
	all, err := collect[Product](ctx, db, "products", selectProducts+` WHERE product_id = ANY($1)`, ids)
	return keyed(all, func(p Product) string { return p.ID }), err
}

// SaveProducts creates or replaces the rows; the caller has settled what they are to be.
func SaveProducts(ctx context.Context, tx pgx.Tx, all []Product) error {
	const sql = `
		INSERT INTO product (product_id, name, species, strain, pick_stage, size, grade, pack_grams, pack_value_minor,
			shelf_life_days, version, changed_by, changed_at)
		SELECT * FROM unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::integer[], $6::text[], $7::text[],
			$8::bigint[], $9::bigint[], $10::integer[], $11::bigint[], $12::text[], $13::timestamptz[])
		ON CONFLICT (coop_id, product_id) DO UPDATE SET
			name = EXCLUDED.name, species = EXCLUDED.species, strain = EXCLUDED.strain, pick_stage = EXCLUDED.pick_stage,
			size = EXCLUDED.size, grade = EXCLUDED.grade, pack_grams = EXCLUDED.pack_grams,
			pack_value_minor = EXCLUDED.pack_value_minor, shelf_life_days = EXCLUDED.shelf_life_days,
			version = EXCLUDED.version, changed_by = EXCLUDED.changed_by, changed_at = EXCLUDED.changed_at`
	text := func(value func(Product) string) []string { return column(all, value) }
	_, err := change(ctx, tx, "products", sql,
		text(func(p Product) string { return p.ID }), text(func(p Product) string { return p.Name }),
		text(func(p Product) string { return p.Species }), text(func(p Product) string { return p.Strain }),
		column(all, func(p Product) int32 { return p.PickStage }),
		text(func(p Product) string { return p.Size }), text(func(p Product) string { return p.Grade }),
		column(all, func(p Product) int64 { return p.PackGrams }), column(all, func(p Product) int64 { return p.PackValueMinor }),
		column(all, func(p Product) int32 { return p.ShelfLifeDays }), column(all, func(p Product) int64 { return p.Version }),
		text(func(p Product) string { return p.By }), column(all, func(p Product) time.Time { return p.At }))
	return err
}
