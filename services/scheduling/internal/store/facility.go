package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

// Facility is a tunnel or a room other than a growing room.
type Facility struct {
	ID, FarmID, Name string // FarmID is empty for one that all share
	Place            programme.Place
	Change
}

// CropFacility is a place through which a crop passes.
type CropFacility struct {
	Place       programme.Place
	ID, Load    string
	From, Until *calendar.Date // the days it is held, the end excluded; nil where it no longer is
}

const facilityColumns = `facility_id, farm_id, name, place, version, changed_by, changed_at`

func scanFacility(row pgx.CollectableRow) (Facility, error) {
	var f Facility
	err := row.Scan(&f.ID, &f.FarmID, &f.Name, &f.Place, &f.Version, &f.By, &f.At)
	return f, err
}

// ListFacilities reads all facilities, or those of one farm and the shared ones.
func ListFacilities(ctx context.Context, db pg.DB, farmID string) ([]Facility, error) {
	const sql = `SELECT ` + facilityColumns + ` FROM facility WHERE $1 = '' OR farm_id IN ($1, '') ORDER BY facility_id COLLATE "C"`
	return queryFacilities(ctx, db, sql, farmID)
}

// LockFacilities reads all facilities and keeps others from planning crops
// through them until the transaction ends.
func LockFacilities(ctx context.Context, tx pgx.Tx) ([]Facility, error) {
	const sql = `SELECT ` + facilityColumns + ` FROM facility ORDER BY facility_id COLLATE "C" FOR UPDATE`
	return queryFacilities(ctx, tx, sql)
}

func queryFacilities(ctx context.Context, db pg.DB, sql string, args ...any) ([]Facility, error) {
	rows, err := db.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("list facilities: %w", err)
	}
	facilities, err := pgx.CollectRows(rows, scanFacility)
	if err != nil {
		return nil, fmt.Errorf("list facilities: %w", err)
	}
	return facilities, nil
}

// PutFacility writes the facility at its version. It reports false, and writes
// nothing, where the version before is not the one stored.
func PutFacility(ctx context.Context, tx pgx.Tx, coopID string, f Facility) (bool, error) {
	const sql = `
		INSERT INTO facility AS old (coop_id, ` + facilityColumns + `)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
		ON CONFLICT (coop_id, facility_id) DO UPDATE SET
			farm_id = excluded.farm_id, name = excluded.name, place = excluded.place,
			version = excluded.version, changed_by = excluded.changed_by, changed_at = excluded.changed_at
		WHERE old.version = excluded.version - 1`
	tag, err := tx.Exec(ctx, sql, coopID, f.ID, f.FarmID, f.Name, f.Place, f.Version, f.By, f.At)
	if err != nil {
		return false, fmt.Errorf("write facility %q: %w", f.ID, err)
	}
	return tag.RowsAffected() == 1, nil
}

// readFacilities fills in the places through which the crops pass.
func readFacilities(ctx context.Context, db pg.DB, crops []Crop) error {
	at := make(map[string]int, len(crops))
	ids := make([]string, len(crops))
	for i, c := range crops {
		at[c.ID], ids[i] = i, c.ID
	}
	const sql = `
		SELECT crop_id, place, facility_id, load, occupied_from - ` + epoch + `, occupied_until - ` + epoch + `
		FROM crop_facility WHERE crop_id = ANY($1) ORDER BY crop_id, place COLLATE "C"`
	rows, err := db.Query(ctx, sql, ids)
	if err != nil {
		return fmt.Errorf("read the places of crops: %w", err)
	}
	var id string
	var f CropFacility
	_, err = pgx.ForEachRow(rows, []any{&id, &f.Place, &f.ID, &f.Load, &f.From, &f.Until}, func() error {
		crops[at[id]].Facilities = append(crops[at[id]].Facilities, f)
		f = CropFacility{}
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the places of crops: %w", err)
	}
	return nil
}

// putFacilities writes the places of a crop, which stay the same in number and
// kind as long as it stands.
func putFacilities(ctx context.Context, tx pgx.Tx, coopID string, c Crop) error {
	for _, f := range c.Facilities {
		const sql = `
			INSERT INTO crop_facility (coop_id, crop_id, place, facility_id, load, occupied_from, occupied_until)
			VALUES ($1, $2, $3, $4, $5, ` + epoch + ` + $6::integer, ` + epoch + ` + $7::integer)
			ON CONFLICT (coop_id, crop_id, place) DO UPDATE SET
				facility_id = excluded.facility_id, load = excluded.load,
				occupied_from = excluded.occupied_from, occupied_until = excluded.occupied_until`
		if _, err := tx.Exec(ctx, sql, coopID, c.ID, f.Place, f.ID, f.Load, f.From, f.Until); err != nil {
			return fmt.Errorf("write the %s of crop %q: %w", f.Place, c.ID, err)
		}
	}
	return nil
}
