package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Coop is what harvest keeps of a co-op's settings.
type Coop struct {
	TimeZone, CurrencyCode string
	Version                int64
}

// SaveCoop keeps the settings unless a version as new is there.
func SaveCoop(ctx context.Context, db pg.DB, c Coop) error {
	const sql = `
		WITH called AS (INSERT INTO coop_roll DEFAULT VALUES ON CONFLICT DO NOTHING)
		INSERT INTO coop (time_zone, currency_code, version) VALUES ($1, $2, $3)
		ON CONFLICT (coop_id) DO UPDATE
		SET time_zone = excluded.time_zone, currency_code = excluded.currency_code, version = excluded.version
		WHERE coop.version < excluded.version`
	_, err := db.Exec(ctx, sql, c.TimeZone, c.CurrencyCode, c.Version)
	return wrap("save the co-op's settings", err)
}

// FindCoop returns the co-op's settings; the zero value where nobody has told.
func FindCoop(ctx context.Context, db pg.DB) (c Coop, err error) {
	return scanCoop(db.QueryRow(ctx, coopSQL))
}

const coopSQL = `SELECT time_zone, currency_code, version FROM coop`

func scanCoop(row pgx.Row) (c Coop, err error) {
	err = row.Scan(&c.TimeZone, &c.CurrencyCode, &c.Version)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return c, fmt.Errorf("read the co-op's settings: %w", err)
	}
	return c, nil
}

// Coops returns the ids of all co-ops whose settings have come. It is the one
// reading that sees more than one co-op, and it sees nothing but ids.
func Coops(ctx context.Context, db pg.DB) ([]string, error) {
	return texts(ctx, db, "co-ops", `SELECT coop_id::text FROM coop_roll ORDER BY 1`)
}
