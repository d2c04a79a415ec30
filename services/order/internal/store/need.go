package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// CropNeed is what one crop needs of spawn and casing.
type CropNeed struct {
	Crop, Room, Farm, Species, Strain string
	// SpawnDate and CasingDate are nil where nothing is needed, or nothing any more.
	SpawnDate   *string
	SpawnGrams  int64
	CasingDate  *string
	CasingGrams int64
	Version     int64
}

// KeepCropNeed stores what a crop needs where its version is newer than what is stored.
func KeepCropNeed(ctx context.Context, tx pgx.Tx, n CropNeed) error {
	_, err := change(ctx, tx, "the needs of a crop", `
		INSERT INTO crop_need (crop_id, room_id, farm_id, species, strain, spawn_date, spawn_grams, casing_date, casing_grams, version)
		VALUES ($1, $2, $3, $4, $5, $6::date, $7, $8::date, $9, $10)
		ON CONFLICT (coop_id, crop_id) DO UPDATE SET
			room_id = EXCLUDED.room_id, farm_id = EXCLUDED.farm_id, species = EXCLUDED.species, strain = EXCLUDED.strain,
			spawn_date = EXCLUDED.spawn_date, spawn_grams = EXCLUDED.spawn_grams,
			casing_date = EXCLUDED.casing_date, casing_grams = EXCLUDED.casing_grams, version = EXCLUDED.version
		WHERE crop_need.version < EXCLUDED.version`,
		n.Crop, n.Room, n.Farm, n.Species, n.Strain, n.SpawnDate, n.SpawnGrams, n.CasingDate, n.CasingGrams, n.Version)
	return err
}

// CropNeeds returns what crops need that need something from one day to another, both included,
// by crop; of one farm where one is named.
func CropNeeds(ctx context.Context, db pg.DB, from, until, farm string) ([]CropNeed, error) {
	return collect[CropNeed](ctx, db, "the needs of crops", `
		SELECT crop_id, room_id, farm_id, species, strain, spawn_date::text, spawn_grams, casing_date::text, casing_grams, version
		FROM crop_need
		WHERE (spawn_date BETWEEN $1::date AND $2::date OR casing_date BETWEEN $1::date AND $2::date) AND ($3 = '' OR farm_id = $3)
		ORDER BY crop_id`, from, until, farm)
}
