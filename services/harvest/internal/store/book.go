package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/platform/pg"
)

// Book reads the facts about what stands in the rooms and under it: all of
// their crops, and every delivery to one of the rooms or in the name of one of
// those crops.
func Book(ctx context.Context, db pg.DB, rooms []string) (*genealogy.Book, error) {
	const crops = `
		SELECT ` + cropColumns + ` FROM crop WHERE room_id = ANY($1)
		UNION
		SELECT ` + cropColumns + ` FROM crop
		WHERE crop_id IN (SELECT crop_id FROM compost_delivery WHERE room_id = ANY($1) AND crop_id <> '')`
	const deliveries = `
		SELECT delivery_id, compost_lot_id, room_id, crop_id, delivered_kg, date FROM compost_delivery
		WHERE room_id = ANY($1) OR crop_id IN (SELECT crop_id FROM crop WHERE room_id = ANY($1))`
	const compost = `SELECT ` + compostColumns + ` FROM compost_lot WHERE compost_lot_id = ANY($1)`

	c, err := collect(ctx, db, scanCrop, crops, rooms)
	if err != nil {
		return nil, wrap("read crops", err)
	}
	d, err := collect(ctx, db, scanDelivery, deliveries, rooms)
	if err != nil {
		return nil, wrap("read deliveries", err)
	}
	lots, err := collect(ctx, db, scanCompost, compost, column(d, func(d genealogy.Delivery) string { return d.CompostID }))
	if err != nil {
		return nil, wrap("read compost lots", err)
	}
	return genealogy.New(c, d, lots), nil
}

func collect[T any](ctx context.Context, db pg.DB, scan pgx.RowToFunc[T], sql string, args ...any) ([]T, error) {
	rows, err := db.Query(ctx, sql, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, scan)
}
