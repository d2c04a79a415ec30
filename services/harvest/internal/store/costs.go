package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// CropCosts are what growing costs, minor units.
type CropCosts struct {
	ProgrammeID                                 string // empty for all that have none of their own
	FillM2, SpawnM2, CasingM2, CookOutM2, DayM2 int64
	PickingKg, HandlingKg                       int64
	Version                                     int64
	ChangedBy                                   string
	ChangedAt                                   time.Time
}

const costColumns = `programme_id, fill_minor_per_m2, spawn_minor_per_m2, casing_minor_per_m2, cook_out_minor_per_m2, room_day_minor_per_m2,
	picking_minor_per_kg, handling_minor_per_kg, version, changed_by, changed_at`

// AllCosts returns the costs by programme, those for all first.
func AllCosts(ctx context.Context, db pg.DB) ([]CropCosts, error) {
	list, err := collect(ctx, db, pgx.RowToStructByPos[CropCosts], `SELECT `+costColumns+` FROM crop_costs ORDER BY programme_id`)
	return list, wrap("read the costs of growing", err)
}

// LockCosts returns the costs saved under one key, and keeps others from saving
// any until the transaction ends.
func LockCosts(ctx context.Context, tx pgx.Tx, programmeID string) (c CropCosts, ok bool, err error) {
	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1, hashtext(current_setting('breakshare.coop')))`, costLock); err != nil {
		return c, false, wrap("lock the costs of growing", err)
	}
	list, err := collect(ctx, tx, pgx.RowToStructByPos[CropCosts], `SELECT `+costColumns+` FROM crop_costs WHERE programme_id = $1`, programmeID)
	if err != nil || len(list) == 0 {
		return c, false, wrap("read the costs of growing", err)
	}
	return list[0], true, nil
}

const costLock = genealogyLock + 2

// SaveCosts writes costs.
func SaveCosts(ctx context.Context, db pg.DB, c CropCosts) error {
	const sql = `
		INSERT INTO crop_costs (programme_id, fill_minor_per_m2, spawn_minor_per_m2, casing_minor_per_m2, cook_out_minor_per_m2,
			room_day_minor_per_m2, picking_minor_per_kg, handling_minor_per_kg, version, changed_by, changed_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)
		ON CONFLICT (coop_id, programme_id) DO UPDATE
		SET fill_minor_per_m2 = excluded.fill_minor_per_m2, spawn_minor_per_m2 = excluded.spawn_minor_per_m2,
		    casing_minor_per_m2 = excluded.casing_minor_per_m2, cook_out_minor_per_m2 = excluded.cook_out_minor_per_m2,
		    room_day_minor_per_m2 = excluded.room_day_minor_per_m2, picking_minor_per_kg = excluded.picking_minor_per_kg,
		    handling_minor_per_kg = excluded.handling_minor_per_kg, version = excluded.version,
		    changed_by = excluded.changed_by, changed_at = excluded.changed_at`
	_, err := db.Exec(ctx, sql, c.ProgrammeID, c.FillM2, c.SpawnM2, c.CasingM2, c.CookOutM2, c.DayM2, c.PickingKg, c.HandlingKg, c.Version, c.ChangedBy, c.ChangedAt)
	return wrap("save the costs of growing", err)
}
