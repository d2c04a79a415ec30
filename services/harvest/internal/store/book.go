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
	const compost = `SELECT ` + compostColumns + ` FROM compost_lot WHERE compost_lot_id = ANY($1)`

	c, err := collect(ctx, db, scanCrop, crops, rooms)
	if err != nil {
		return nil, wrap("read crops", err)
	}
	d, err := collect(ctx, db, scanDelivery, deliveriesSQL, rooms)
	if err != nil {
		return nil, wrap("read deliveries", err)
	}
	lots, err := collect(ctx, db, scanCompost, compost, column(d, func(d genealogy.Delivery) string { return d.CompostID }))
	if err != nil {
		return nil, wrap("read compost lots", err)
	}
	return genealogy.New(c, d, lots), nil
}

const deliveriesSQL = `
	SELECT delivery_id, compost_lot_id, room_id, crop_id, delivered_kg, date FROM compost_delivery
	WHERE room_id = ANY($1) OR crop_id IN (SELECT crop_id FROM crop WHERE room_id = ANY($1))`

func collect[T any](ctx context.Context, db pg.DB, scan pgx.RowToFunc[T], sql string, args ...any) ([]T, error) {
	rows, err := db.Query(ctx, sql, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, scan)
}

// Reach widens a set of rooms by lots whose crop has since been moved to
// another room. lots are the rooms with lots that stand or stood on a crop of
// the given rooms, facts the rooms that must be in the book to judge those lots.
func Reach(ctx context.Context, db pg.DB, rooms []string) (lots, facts []string, err error) {
	const withLots = `
		SELECT unnest($1::text[])
		UNION
		SELECT l.room_id FROM crop c JOIN pick_lot l ON l.crop_id = c.crop_id WHERE c.room_id = ANY($1)
		ORDER BY 1`
	const withFacts = `
		SELECT unnest($1::text[])
		UNION
		SELECT c.room_id FROM pick_lot l JOIN crop c ON c.crop_id = l.crop_id WHERE l.room_id = ANY($1)
		ORDER BY 1`
	if lots, err = texts(ctx, db, "rooms with lots of crops", withLots, rooms); err != nil {
		return nil, nil, err
	}
	facts, err = texts(ctx, db, "rooms of the crops of lots", withFacts, lots)
	return lots, facts, err
}
