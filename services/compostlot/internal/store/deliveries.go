package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Delivery is a part of a lot brought to a room.
type Delivery struct {
	LotID                  string
	Number                 int32  // within the lot, from 1
	FarmID, RoomID, CropID string // CropID is empty where it is not known
	Kg                     int64
	At                     time.Time
	Date                   time.Time // of At in the co-op's time zone
}

// ListDeliveries returns the deliveries of lots, by lot and number.
func ListDeliveries(ctx context.Context, db pg.DB, lotIDs []string) ([]Delivery, error) {
	const sql = `SELECT lot_id, number, farm_id, room_id, COALESCE(crop_id, ''), delivered_kg, delivered_at, date
		FROM lot_delivery WHERE lot_id = ANY($1) ORDER BY lot_id, number`
	return collect[Delivery](ctx, db, "list deliveries", sql, lotIDs)
}

// InsertDeliveries adds deliveries, entered by somebody at an instant.
func InsertDeliveries(ctx context.Context, tx pgx.Tx, deliveries []Delivery, by string, at time.Time) error {
	const sql = `INSERT INTO lot_delivery (lot_id, number, farm_id, room_id, crop_id, delivered_kg, delivered_at, date, entered_by, entered_at)
		VALUES ($1, $2, $3, $4, NULLIF($5, ''), $6, $7, $8, $9, $10)`
	return each(ctx, tx, "insert deliveries", sql, deliveries, func(d Delivery) []any {
		return []any{d.LotID, d.Number, d.FarmID, d.RoomID, d.CropID, d.Kg, d.At, d.Date, by, at}
	})
}
