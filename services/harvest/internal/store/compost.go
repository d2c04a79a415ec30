package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/platform/pg"
)

// Compost is a compost lot as compostlot told of it.
type Compost struct {
	genealogy.Compost
	Version int64
}

// SaveCompost keeps the lot unless a version as new is there, and returns the
// rooms that have compost of it, or whose crops do.
func SaveCompost(ctx context.Context, tx pgx.Tx, c Compost) (rooms []string, err error) {
	const save = `
		INSERT INTO compost_lot (compost_lot_id, yard_id, slot_id, released_by, exception_reason, held, hold_reason, version)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
		ON CONFLICT (coop_id, compost_lot_id) DO UPDATE
		SET yard_id = excluded.yard_id, slot_id = excluded.slot_id, released_by = excluded.released_by,
		    exception_reason = excluded.exception_reason, held = excluded.held, hold_reason = excluded.hold_reason,
		    version = excluded.version
		WHERE compost_lot.version < excluded.version`
	tag, err := tx.Exec(ctx, save, c.ID, c.YardID, c.SlotID, c.ReleasedBy, c.Exception, c.Held, c.HoldReason, c.Version)
	if err != nil {
		return nil, fmt.Errorf("save compost lot %s: %w", c.ID, err)
	}
	if tag.RowsAffected() == 0 {
		return nil, nil
	}
	return CompostRooms(ctx, tx, c.ID)
}

// CompostRooms returns the rooms that have compost of a lot, or whose crops do
// in the yard's own notes.
func CompostRooms(ctx context.Context, db pg.DB, compostID string) ([]string, error) {
	const sql = `
		SELECT room_id FROM compost_delivery WHERE compost_lot_id = $1
		UNION
		SELECT c.room_id FROM compost_delivery d JOIN crop c ON c.crop_id = d.crop_id WHERE d.compost_lot_id = $1
		ORDER BY 1`
	return texts(ctx, db, "rooms with compost lot "+compostID, sql, compostID)
}

// SaveDelivery keeps a delivery, which never changes.
func SaveDelivery(ctx context.Context, db pg.DB, d genealogy.Delivery) error {
	const sql = `
		INSERT INTO compost_delivery (delivery_id, compost_lot_id, room_id, crop_id, delivered_kg, date)
		VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (coop_id, delivery_id) DO NOTHING`
	_, err := db.Exec(ctx, sql, d.ID, d.CompostID, d.RoomID, d.CropID, d.Kilograms, d.Day.Time())
	return wrap("save delivery "+d.ID, err)
}

// FindCompost returns a compost lot; ok is false where nobody has told of it.
func FindCompost(ctx context.Context, db pg.DB, id string) (c genealogy.Compost, ok bool, err error) {
	rows, err := db.Query(ctx, `SELECT `+compostColumns+` FROM compost_lot WHERE compost_lot_id = $1`, id)
	if err != nil {
		return c, false, fmt.Errorf("read compost lot %s: %w", id, err)
	}
	list, err := pgx.CollectRows(rows, scanCompost)
	if err != nil || len(list) == 0 {
		return c, false, wrap("read compost lot "+id, err)
	}
	return list[0], true, nil
}

// compostColumns in the order of scanCompost.
const compostColumns = `compost_lot_id, yard_id, slot_id, released_by, exception_reason, held, hold_reason`

func scanCompost(row pgx.CollectableRow) (c genealogy.Compost, err error) {
	err = row.Scan(&c.ID, &c.YardID, &c.SlotID, &c.ReleasedBy, &c.Exception, &c.Held, &c.HoldReason)
	return c, err
}

func scanDelivery(row pgx.CollectableRow) (d genealogy.Delivery, err error) {
	err = row.Scan(&d.ID, &d.CompostID, &d.RoomID, &d.CropID, &d.Kilograms, dayInto{&d.Day})
	return d, err
}

func wrap(doing string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", doing, err)
}
