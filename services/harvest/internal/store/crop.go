package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/harvest/internal/growth"
	"breakshare.example/services/platform/pg"
)

// Crop is a crop as scheduling told of it.
type Crop struct {
	genealogy.Crop
	AreaM2           int32 // 0 where nobody told
	ProgrammeID      string
	ProgrammeVersion int32
	Steps            []growth.StepDate
	Profile          *growth.Profile // nil where nobody told
	Version          int64
	Before           []growth.Ended // of its programme, where they were read
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
	// A list of crops leaves the profile out: the one known stays, since it
	// never changes, and one that comes with a version known is taken in.
	const save = `
		INSERT INTO crop (crop_id, room_id, farm_id, species, fill_date, first_pick_date, free_date, filled, ended, version,
			area_m2, programme_id, programme_version, steps, profile)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, nullif($11, 0), $12, $13, $14, $15)
		ON CONFLICT (coop_id, crop_id) DO UPDATE
		SET room_id = excluded.room_id, farm_id = excluded.farm_id, species = excluded.species,
		    fill_date = excluded.fill_date, first_pick_date = excluded.first_pick_date, free_date = excluded.free_date,
		    filled = excluded.filled, ended = excluded.ended, version = excluded.version,
		    area_m2 = coalesce(excluded.area_m2, crop.area_m2), programme_id = excluded.programme_id,
		    programme_version = excluded.programme_version, steps = excluded.steps,
		    profile = coalesce(excluded.profile, crop.profile)
		WHERE crop.version < excluded.version
		   OR (crop.version = excluded.version AND crop.profile IS NULL AND excluded.profile IS NOT NULL)`
	steps := c.Steps
	if steps == nil {
		steps = []growth.StepDate{}
	}
	tag, err := tx.Exec(ctx, save, c.ID, c.RoomID, c.FarmID, c.Species, c.Fill.Time(), c.FirstPick.Time(), c.Free.Time(), c.Filled, c.Ended, c.Version,
		c.AreaM2, c.ProgrammeID, c.ProgrammeVersion, steps, c.Profile)
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

// growingColumns in the order of scanGrowing, of crop c and its room r.
const growingColumns = `c.crop_id, c.room_id, c.farm_id, c.species, c.fill_date, c.first_pick_date, c.free_date, c.filled, c.ended,
	coalesce(c.area_m2, r.area_m2, 0), c.programme_id, c.programme_version, c.steps, c.profile, c.version`

const growingTables = `crop c LEFT JOIN room r ON r.coop_id = c.coop_id AND r.room_id = c.room_id`

func scanGrowing(row pgx.CollectableRow) (c Crop, err error) {
	err = row.Scan(&c.ID, &c.RoomID, &c.FarmID, &c.Species, dayInto{&c.Fill}, dayInto{&c.FirstPick}, dayInto{&c.Free}, &c.Filled, &c.Ended,
		&c.AreaM2, &c.ProgrammeID, &c.ProgrammeVersion, &c.Steps, &c.Profile, &c.Version)
	return c, err
}

// Growing is the crop as the forecast reads it.
func (c Crop) Growing() growth.Crop {
	return growth.Crop{
		ID: c.ID, Species: c.Species, AreaM2: c.AreaM2, Fill: c.Fill, Free: c.Free, Ended: c.Ended,
		Steps: c.Steps, Profile: c.Profile, Before: c.Before,
	}
}

// CropsOfRooms returns all crops of the rooms by id.
func CropsOfRooms(ctx context.Context, db pg.DB, rooms []string) (map[string]Crop, error) {
	list, err := collect(ctx, db, scanGrowing, cropsOfRoomsSQL, rooms)
	if err != nil {
		return nil, wrap("read the crops of rooms", err)
	}
	return index(list, func(c Crop) string { return c.ID }), nil
}

const cropsOfRoomsSQL = `SELECT ` + growingColumns + ` FROM ` + growingTables + ` WHERE c.room_id = ANY($1)`

// FindCrop returns a crop; ok is false where nobody has told of it.
func FindCrop(ctx context.Context, db pg.DB, id string) (c Crop, ok bool, err error) {
	list, err := collect(ctx, db, scanGrowing, `SELECT `+growingColumns+` FROM `+growingTables+` WHERE c.crop_id = $1`, id)
	if err != nil || len(list) == 0 {
		return c, false, wrap("read crop "+id, err)
	}
	return list[0], true, nil
}

// CropsBearing returns, by id, the crops that may bear on a day of the span:
// filled by its last day and not ended before its first; those of one farm
// where farmID is not empty.
func CropsBearing(ctx context.Context, db pg.DB, from, to day.Date, farmID string) ([]Crop, error) {
	const sql = `
		SELECT ` + growingColumns + ` FROM ` + growingTables + `
		WHERE c.fill_date <= $2 AND c.free_date > c.fill_date AND c.free_date + CASE WHEN c.ended THEN 1 ELSE $4::int END > $1
		  AND ($3 = '' OR c.farm_id = $3)
		ORDER BY c.crop_id`
	list, err := collect(ctx, db, scanGrowing, sql, from.Time(), to.Time(), farmID, genealogy.OverrunDays)
	return list, wrap("read the crops of a span of days", err)
}

// NextFill returns the day on which the next crop is planned to fill a room; nil
// where none is planned after the day.
func NextFill(ctx context.Context, db pg.DB, roomID, notCrop string, after day.Date) (*day.Date, error) {
	const sql = `
		SELECT fill_date FROM crop
		WHERE room_id = $1 AND crop_id <> $2 AND NOT filled AND free_date > fill_date AND fill_date > $3
		ORDER BY fill_date LIMIT 1`
	list, err := collect(ctx, db, func(row pgx.CollectableRow) (d day.Date, err error) {
		err = row.Scan(dayInto{&d})
		return d, err
	}, sql, roomID, notCrop, after.Time())
	if err != nil || len(list) == 0 {
		return nil, wrap("read the next fill of room "+roomID, err)
	}
	return &list[0], nil
}
