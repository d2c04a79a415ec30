package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/fusion"
	"breakshare.example/services/platform/pg"
)

// Used is what was last told to be used of an expected pick.
type Used struct {
	LotID   string
	Version int64 // of the expected pick
	Band    fusion.Band
	At      time.Time
}

// UsedOfDays returns what was last told of the lots of a span of days, by code.
func UsedOfDays(ctx context.Context, db pg.DB, from, to day.Date) (map[string]Used, error) {
	const sql = `
		SELECT u.pick_lot_id, u.version, u.low_grams, u.likely_grams, u.high_grams, u.used_at
		FROM expected_used u JOIN pick_lot l USING (coop_id, pick_lot_id)
		WHERE l.date BETWEEN $1 AND $2`
	list, err := collect(ctx, db, func(row pgx.CollectableRow) (u Used, err error) {
		err = row.Scan(&u.LotID, &u.Version, &u.Band.Low, &u.Band.Likely, &u.Band.High, &u.At)
		return u, err
	}, sql, from.Time(), to.Time())
	if err != nil {
		return nil, wrap("read what is used of expected picks", err)
	}
	return index(list, func(u Used) string { return u.LotID }), nil
}

// SaveUsed notes what was told.
func SaveUsed(ctx context.Context, db pg.DB, list []Used) error {
	const sql = `
		INSERT INTO expected_used (pick_lot_id, version, low_grams, likely_grams, high_grams, used_at)
		SELECT * FROM unnest($1::text[], $2::bigint[], $3::bigint[], $4::bigint[], $5::bigint[], $6::timestamptz[])
		ON CONFLICT (coop_id, pick_lot_id) DO UPDATE
		SET version = excluded.version, low_grams = excluded.low_grams, likely_grams = excluded.likely_grams,
		    high_grams = excluded.high_grams, used_at = excluded.used_at`
	_, err := db.Exec(ctx, sql,
		column(list, func(u Used) string { return u.LotID }),
		column(list, func(u Used) int64 { return u.Version }),
		column(list, func(u Used) int64 { return u.Band.Low }),
		column(list, func(u Used) int64 { return u.Band.Likely }),
		column(list, func(u Used) int64 { return u.Band.High }),
		column(list, func(u Used) time.Time { return u.At }))
	return wrap("save what is used of expected picks", err)
}

// LockTelling lets one at a time tell of a co-op what follows from what was said
// and measured, until the transaction ends.
func LockTelling(ctx context.Context, tx pgx.Tx) error {
	_, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1, hashtext(current_setting('breakshare.coop')))`, genealogyLock+4)
	return wrap("lock the telling of what is used", err)
}
