package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/platform/pg"
)

// Crop is a crop as scheduling told of it.
type Crop struct {
	genealogy.Crop
	Version int64
}

// SaveCrop keeps the crop unless a version as new is there, and returns the
// rooms whose past or future it changes: where it stands, where it stood before
// by an older version, and where compost was brought in its name.
func SaveCrop(ctx context.Context, tx pgx.Tx, c Crop) (rooms []string, err error) {
	var before string
	err = tx.QueryRow(ctx, `SELECT room_id FROM crop WHERE crop_id = $1 FOR UPDATE`, c.ID).Scan(&before)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return nil, fmt.Errorf("read crop %s: %w", c.ID, err)
	}
	const save = `
		INSERT INTO crop (crop_id, room_id, farm_id, species, fill_date, first_pick_date, free_date, filled, ended, version)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
		ON CONFLICT (coop_id, crop_id) DO UPDATE
		SET room_id = excluded.room_id, farm_id = excluded.farm_id, species = excluded.species,
		    fill_date = excluded.fill_date, first_pick_date = excluded.first_pick_date, free_date = excluded.free_date,
		    filled = excluded.filled, ended = excluded.ended, version = excluded.version
		WHERE crop.version < excluded.version`
	tag, err := tx.Exec(ctx, save, c.ID, c.RoomID, c.FarmID, c.Species, c.Fill.Time(), c.FirstPick.Time(), c.Free.Time(), c.Filled, c.Ended, c.Version)
	if err != nil {
		return nil, fmt.Errorf("save crop %s: %w", c.ID, err)
	}
	if tag.RowsAffected() == 0 {
		return nil, nil
	}
	const touched = `
		SELECT room_id FROM compost_delivery WHERE crop_id = $1
		UNION SELECT $2 UNION SELECT $3 WHERE $3 <> ''
		ORDER BY 1`
	return texts(ctx, tx, "rooms of crop "+c.ID, touched, c.ID, c.RoomID, before)
}

// cropColumns in the order of scanCrop.
const cropColumns = `crop_id, room_id, farm_id, species, fill_date, first_pick_date, free_date, filled, ended`

func scanCrop(row pgx.CollectableRow) (c genealogy.Crop, err error) {
	err = row.Scan(&c.ID, &c.RoomID, &c.FarmID, &c.Species, dayInto{&c.Fill}, dayInto{&c.FirstPick}, dayInto{&c.Free}, &c.Filled, &c.Ended)
	return c, err
}

// texts collects one column of text.
func texts(ctx context.Context, db pg.DB, what, sql string, args ...any) ([]string, error) {
	rows, err := db.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("read the %s: %w", what, err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, fmt.Errorf("read the %s: %w", what, err)
	}
	return list, nil
}
