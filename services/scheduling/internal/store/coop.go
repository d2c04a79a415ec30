package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Coop is the co-op's settings.
type Coop struct {
	Name, TimeZone, CurrencyCode string
	// MassUnit is "kg" or "lb", TemperatureUnit "C" or "F": what pages show.
	MassUnit, TemperatureUnit string
	Change
}

// GetCoop reads the settings; ok is false before the first save.
func GetCoop(ctx context.Context, db pg.DB) (coop Coop, ok bool, err error) {
	const sql = `SELECT name, time_zone, currency_code, mass_unit, temperature_unit, version, changed_by, changed_at FROM coop`
	err = db.QueryRow(ctx, sql).Scan(&coop.Name, &coop.TimeZone, &coop.CurrencyCode, &coop.MassUnit, &coop.TemperatureUnit, &coop.Version, &coop.By, &coop.At)
	if errors.Is(err, pgx.ErrNoRows) {
		return Coop{}, false, nil
	}
	if err != nil {
		return Coop{}, false, fmt.Errorf("read the co-op's settings: %w", err)
	}
	return coop, true, nil
}

// PutCoop writes the settings at their version. It reports false, and writes
// nothing, where the version before is not the one stored.
func PutCoop(ctx context.Context, tx pgx.Tx, coopID string, c Coop) (bool, error) {
	const sql = `
		INSERT INTO coop AS old (coop_id, name, time_zone, currency_code, mass_unit, temperature_unit, version, changed_by, changed_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
		ON CONFLICT (coop_id) DO UPDATE SET
			name = excluded.name, time_zone = excluded.time_zone, currency_code = excluded.currency_code,
			mass_unit = excluded.mass_unit, temperature_unit = excluded.temperature_unit,
			version = excluded.version, changed_by = excluded.changed_by, changed_at = excluded.changed_at
		WHERE old.version = excluded.version - 1`
	tag, err := tx.Exec(ctx, sql, coopID, c.Name, c.TimeZone, c.CurrencyCode, c.MassUnit, c.TemperatureUnit, c.Version, c.By, c.At)
	if err != nil {
		return false, fmt.Errorf("write the co-op's settings: %w", err)
	}
	return tag.RowsAffected() == 1, nil
}
