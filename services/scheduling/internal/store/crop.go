package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

// State is where a crop stands in its life.
type State string

// The states.
const (
	Planned State = "planned" // not yet filled
	Running State = "running" // filled
	Ended   State = "ended"
)

// Crop is one cycle of one room, with the dates computed at its last change.
type Crop struct {
	ID, RoomID, FarmID        string
	Programme                 ProgrammeKey
	State                     State
	AreaM2                    int32
	PlannedFill               calendar.Date
	Fill, FirstPick, Free     calendar.Date
	Ended                     *calendar.Date
	CalledOff                 bool           // ended before it was filled
	OccupiedFrom, OccupiedEnd *calendar.Date // the days it holds the room, the end excluded
	NotBefore                 *calendar.Date // what holds its next stage up; nil where nothing does
	Stages                    []Stage        // in the programme's order
	Facilities                []CropFacility // by place
	Change
}

// Stage is one step of a crop. Its programme version says where it happens.
type Stage struct {
	Kind                         programme.StageKind
	Start, End, Earliest, Latest calendar.Date
	Actual                       *calendar.Date
	OutsideRange                 bool
}

const cropColumns = `crop_id, room_id, farm_id, programme_id, programme_version, state, area_m2,
	planned_fill_date - ` + epoch + `, fill_date - ` + epoch + `, first_pick_date - ` + epoch + `, free_date - ` + epoch + `,
	ended_date - ` + epoch + `, called_off, occupied_from - ` + epoch + `, occupied_until - ` + epoch + `,
	not_before - ` + epoch + `, version, changed_by, changed_at`

func scanCrop(row pgx.CollectableRow) (Crop, error) {
	var c Crop
	err := row.Scan(&c.ID, &c.RoomID, &c.FarmID, &c.Programme.ID, &c.Programme.Version, &c.State, &c.AreaM2,
		&c.PlannedFill, &c.Fill, &c.FirstPick, &c.Free, &c.Ended, &c.CalledOff, &c.OccupiedFrom, &c.OccupiedEnd,
		&c.NotBefore, &c.Version, &c.By, &c.At)
	return c, err
}

// GetCrops reads those of the crops that are there.
func GetCrops(ctx context.Context, db pg.DB, cropIDs []string) (map[string]Crop, error) {
	const sql = `SELECT ` + cropColumns + ` FROM crop WHERE crop_id = ANY($1)`
	crops, err := queryCrops(ctx, db, sql, cropIDs)
	if err != nil {
		return nil, err
	}
	return byKey(crops, func(c Crop) string { return c.ID }), nil
}

// ListRoomCrops reads the crops that hold one of the rooms on or after a day, by
// room and first day.
func ListRoomCrops(ctx context.Context, db pg.DB, roomIDs []string, from calendar.Date) ([]Crop, error) {
	const sql = `
		SELECT ` + cropColumns + ` FROM crop
		WHERE room_id = ANY($1) AND occupied_until > ` + epoch + ` + $2::integer
		ORDER BY room_id COLLATE "C", occupied_from, crop_id COLLATE "C"`
	return queryCrops(ctx, db, sql, roomIDs, from)
}

// ListCalendar reads the crops whose days, from filling until the room is free,
// touch the span from the first day to the last, by room and fill date; those of
// one farm where farmID is not empty. Crops called off before filling are left
// out.
func ListCalendar(ctx context.Context, db pg.DB, farmID string, first, last calendar.Date) ([]Crop, error) {
	const sql = `
		SELECT ` + cropColumns + ` FROM crop
		WHERE ($1 = '' OR farm_id = $1)
			AND fill_date <= ` + epoch + ` + $3::integer AND free_date > ` + epoch + ` + $2::integer
			AND NOT called_off
		ORDER BY room_id COLLATE "C", fill_date, crop_id COLLATE "C"`
	return queryCrops(ctx, db, sql, farmID, first, last)
}

// ListFacilityCrops reads the crops that pass through one of the facilities on or
// after a day, by id.
func ListFacilityCrops(ctx context.Context, db pg.DB, facilityIDs []string, from calendar.Date) ([]Crop, error) {
	const sql = `
		SELECT ` + cropColumns + ` FROM crop
		WHERE crop_id IN (SELECT crop_id FROM crop_facility WHERE facility_id = ANY($1) AND occupied_until > ` + epoch + ` + $2::integer)
		ORDER BY crop_id COLLATE "C"`
	return queryCrops(ctx, db, sql, facilityIDs, from)
}

// ListStandingCrops reads the crops that have not ended, and the ended ones that
// were not called off and whose room was free after a day, by room and fill date.
func ListStandingCrops(ctx context.Context, db pg.DB, farmID string, from calendar.Date) ([]Crop, error) {
	const sql = `
		SELECT ` + cropColumns + ` FROM crop
		WHERE ($1 = '' OR farm_id = $1) AND (state <> 'ended' OR free_date > ` + epoch + ` + $2::integer) AND NOT called_off
		ORDER BY room_id COLLATE "C", fill_date, crop_id COLLATE "C"`
	return queryCrops(ctx, db, sql, farmID, from)
}

// ListWaitingCrops reads the crops that have not ended and that have an unrecorded
// step from filling on, planned to begin before a day, by room and fill date.
func ListWaitingCrops(ctx context.Context, db pg.DB, farmID string, before calendar.Date) ([]Crop, error) {
	const sql = `
		SELECT ` + cropColumns + ` FROM crop
		WHERE ($1 = '' OR farm_id = $1) AND state <> 'ended' AND fill_date < ` + epoch + ` + $2::integer AND EXISTS (
			SELECT FROM crop_stage s WHERE s.crop_id = crop.crop_id AND s.actual_start_date IS NULL
				AND s.start_date >= crop.fill_date AND s.start_date < ` + epoch + ` + $2::integer)
		ORDER BY room_id COLLATE "C", fill_date, crop_id COLLATE "C"`
	return queryCrops(ctx, db, sql, farmID, before)
}

// ListFeedCrops reads the crops of a farm whose plan or life reaches a day, those
// called off too, by id.
func ListFeedCrops(ctx context.Context, db pg.DB, farmID string, from calendar.Date) ([]Crop, error) {
	const sql = `SELECT ` + cropColumns + ` FROM crop WHERE farm_id = $1 AND free_date > ` + epoch + ` + $2::integer ORDER BY crop_id COLLATE "C"`
	return queryCrops(ctx, db, sql, farmID, from)
}

// LiveCrops reads the ids of the room's crops that have not ended, by fill date.
func LiveCrops(ctx context.Context, db pg.DB, roomID string) ([]string, error) {
	const sql = `SELECT crop_id FROM crop WHERE room_id = $1 AND state <> 'ended' ORDER BY fill_date, crop_id`
	rows, err := db.Query(ctx, sql, roomID)
	if err != nil {
		return nil, fmt.Errorf("list the crops of room %q: %w", roomID, err)
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, fmt.Errorf("list the crops of room %q: %w", roomID, err)
	}
	return ids, nil
}

func queryCrops(ctx context.Context, db pg.DB, sql string, args ...any) ([]Crop, error) {
	rows, err := db.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("read crops: %w", err)
	}
	crops, err := pgx.CollectRows(rows, scanCrop)
	if err != nil {
		return nil, fmt.Errorf("read crops: %w", err)
	}
	if err := readStages(ctx, db, crops); err != nil {
		return nil, err
	}
	return crops, readFacilities(ctx, db, crops)
}

// PutCrop writes the crop and its stages. before is the version that was read, 0
// for a new crop. It reports false, and writes nothing, where another version is
// stored.
func PutCrop(ctx context.Context, tx pgx.Tx, coopID string, before int64, c Crop) (bool, error) {
	const sql = `
		INSERT INTO crop AS old (coop_id, crop_id, room_id, farm_id, programme_id, programme_version, state, area_m2,
			planned_fill_date, fill_date, first_pick_date, free_date, ended_date, called_off, occupied_from, occupied_until,
			version, changed_by, changed_at, not_before)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8,
			` + epoch + ` + $9::integer, ` + epoch + ` + $10::integer, ` + epoch + ` + $11::integer, ` + epoch + ` + $12::integer,
			` + epoch + ` + $13::integer, $14, ` + epoch + ` + $15::integer, ` + epoch + ` + $16::integer, $17, $18, $19, ` + epoch + ` + $21::integer)
		ON CONFLICT (coop_id, crop_id) DO UPDATE SET
			state = excluded.state, planned_fill_date = excluded.planned_fill_date,
			fill_date = excluded.fill_date, first_pick_date = excluded.first_pick_date, free_date = excluded.free_date,
			ended_date = excluded.ended_date, called_off = excluded.called_off, occupied_from = excluded.occupied_from, occupied_until = excluded.occupied_until,
			not_before = excluded.not_before, version = excluded.version, changed_by = excluded.changed_by, changed_at = excluded.changed_at
		WHERE old.version = $20`
	tag, err := tx.Exec(ctx, sql, coopID, c.ID, c.RoomID, c.FarmID, c.Programme.ID, c.Programme.Version, c.State, c.AreaM2,
		c.PlannedFill, c.Fill, c.FirstPick, c.Free, c.Ended, c.CalledOff, c.OccupiedFrom, c.OccupiedEnd, c.Version, c.By, c.At, before, c.NotBefore)
	if err != nil {
		return false, fmt.Errorf("write crop %q: %w", c.ID, err)
	}
	if tag.RowsAffected() != 1 {
		return false, nil
	}
	if err := putStages(ctx, tx, coopID, c); err != nil {
		return false, err
	}
	return true, putFacilities(ctx, tx, coopID, c)
}
