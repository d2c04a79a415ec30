package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// ColdStore is a cold room of a farm.
type ColdStore struct{ ID, FarmID, Name string }

// SaveColdStore writes the store. Its farm stays as it was first given.
func SaveColdStore(ctx context.Context, db pg.DB, c ColdStore) error {
	const sql = `
		INSERT INTO cold_store (store_id, farm_id, name) VALUES ($1, $2, $3)
		ON CONFLICT (coop_id, store_id) DO UPDATE SET name = excluded.name`
	_, err := db.Exec(ctx, sql, c.ID, c.FarmID, c.Name)
	return wrap("save cold store "+c.ID, err)
}

// ColdStores returns the stores by id; those of one farm where farmID is not
// empty.
func ColdStores(ctx context.Context, db pg.DB, farmID string) ([]ColdStore, error) {
	const sql = `SELECT store_id, farm_id, name FROM cold_store WHERE $1 = '' OR farm_id = $1 ORDER BY store_id`
	list, err := collect(ctx, db, pgx.RowToStructByPos[ColdStore], sql, farmID)
	return list, wrap("read the cold stores", err)
}

// StoreReading is the air temperature of a store at one moment.
type StoreReading struct {
	StoreID string
	Time    time.Time
	TenthsC int
}

// AddStoreReadings writes readings; one of the same moment stays.
func AddStoreReadings(ctx context.Context, db pg.DB, list []StoreReading) error {
	const sql = `
		INSERT INTO store_reading (store_id, time, air_tenths_c)
		SELECT * FROM unnest($1::text[], $2::timestamptz[], $3::int[])
		ON CONFLICT DO NOTHING`
	_, err := db.Exec(ctx, sql,
		column(list, func(r StoreReading) string { return r.StoreID }),
		column(list, func(r StoreReading) time.Time { return r.Time }),
		column(list, func(r StoreReading) int { return r.TenthsC }))
	return wrap("add readings of a cold store", err)
}

// StoreReadings returns the readings of each store since a moment, oldest first.
func StoreReadings(ctx context.Context, db pg.DB, since time.Time) (map[string][]StoreReading, error) {
	const sql = `SELECT store_id, time, air_tenths_c FROM store_reading WHERE time >= $1 ORDER BY store_id, time`
	list, err := collect(ctx, db, pgx.RowToStructByPos[StoreReading], sql, since)
	if err != nil {
		return nil, fmt.Errorf("read the readings of cold stores: %w", err)
	}
	out := map[string][]StoreReading{}
	for _, r := range list {
		out[r.StoreID] = append(out[r.StoreID], r)
	}
	return out, nil
}
