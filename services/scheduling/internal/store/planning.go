package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
)

// Override is a coordinator's own figure for one product and week.
type Override struct {
	ProductID string
	Week      calendar.Date // a Monday
	Grams     *int64        // nil where the figure was taken back
	Reason    string
	Change
}

const overrideColumns = `product_id, week - ` + epoch + `, grams, reason, version, changed_by, changed_at`

// ListOverrides reads the figures for weeks from one on, those taken back too, by
// product and week.
func ListOverrides(ctx context.Context, db pg.DB, from calendar.Date) ([]Override, error) {
	const sql = `SELECT ` + overrideColumns + ` FROM demand_override WHERE week >= ` + epoch + ` + $1::integer ORDER BY product_id COLLATE "C", week`
	rows, err := db.Query(ctx, sql, from)
	if err != nil {
		return nil, fmt.Errorf("list demand overrides: %w", err)
	}
	overrides, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (Override, error) {
		var o Override
		err := row.Scan(&o.ProductID, &o.Week, &o.Grams, &o.Reason, &o.Version, &o.By, &o.At)
		return o, err
	})
	if err != nil {
		return nil, fmt.Errorf("list demand overrides: %w", err)
	}
	return overrides, nil
}

// PutOverride writes a figure at its version. It reports false, and writes
// nothing, where the version before is not the one stored.
func PutOverride(ctx context.Context, tx pgx.Tx, coopID string, o Override) (bool, error) {
	const sql = `
		INSERT INTO demand_override AS old (coop_id, product_id, week, grams, reason, version, changed_by, changed_at)
		VALUES ($1, $2, ` + epoch + ` + $3::integer, $4, $5, $6, $7, $8)
		ON CONFLICT (coop_id, product_id, week) DO UPDATE SET
			grams = excluded.grams, reason = excluded.reason,
			version = excluded.version, changed_by = excluded.changed_by, changed_at = excluded.changed_at
		WHERE old.version = excluded.version - 1`
	tag, err := tx.Exec(ctx, sql, coopID, o.ProductID, o.Week, o.Grams, o.Reason, o.Version, o.By, o.At)
	if err != nil {
		return false, fmt.Errorf("write the demand of %q in the week of %s: %w", o.ProductID, o.Week, err)
	}
	return tag.RowsAffected() == 1, nil
}

// Settings are the planner's settings, as the bytes of their message.
type Settings struct {
	Message []byte
	Change
}

// GetSettings reads the planner's settings; ok is false before the first save.
func GetSettings(ctx context.Context, db pg.DB) (s Settings, ok bool, err error) {
	const sql = `SELECT settings, version, changed_by, changed_at FROM planning_settings`
	err = db.QueryRow(ctx, sql).Scan(&s.Message, &s.Version, &s.By, &s.At)
	if errors.Is(err, pgx.ErrNoRows) {
		return Settings{}, false, nil
	}
	if err != nil {
		return Settings{}, false, fmt.Errorf("read the planning settings: %w", err)
	}
	return s, true, nil
}

// PutSettings writes the settings at their version. It reports false, and writes
// nothing, where the version before is not the one stored.
func PutSettings(ctx context.Context, tx pgx.Tx, coopID string, s Settings) (bool, error) {
	const sql = `
		INSERT INTO planning_settings AS old (coop_id, settings, version, changed_by, changed_at)
		VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (coop_id) DO UPDATE SET
			settings = excluded.settings, version = excluded.version, changed_by = excluded.changed_by, changed_at = excluded.changed_at
		WHERE old.version = excluded.version - 1`
	tag, err := tx.Exec(ctx, sql, coopID, s.Message, s.Version, s.By, s.At)
	if err != nil {
		return false, fmt.Errorf("write the planning settings: %w", err)
	}
	return tag.RowsAffected() == 1, nil
}
