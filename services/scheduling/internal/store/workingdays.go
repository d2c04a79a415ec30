package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

// WorkingDays are the co-op's rules of which stages begin on which days.
type WorkingDays struct {
	Rules  []WorkRule
	Marked []MarkedDay
	Change
}

// WorkRule closes days for a stage.
type WorkRule struct {
	Stage    programme.StageKind `json:"stage"`
	Weekdays []time.Weekday      `json:"weekdays"`
	Holidays bool                `json:"holidays"`
}

// MarkedDay is a day out of the ordinary.
type MarkedDay struct {
	On     calendar.Date `json:"on"`
	Name   string        `json:"name"`
	Closed bool          `json:"closed"`
}

// GetWorkingDays reads them; ok is false before the first save.
func GetWorkingDays(ctx context.Context, db pg.DB) (w WorkingDays, ok bool, err error) {
	const sql = `SELECT rules, marked_days, version, changed_by, changed_at FROM working_days`
	err = db.QueryRow(ctx, sql).Scan(&w.Rules, &w.Marked, &w.Version, &w.By, &w.At)
	if errors.Is(err, pgx.ErrNoRows) {
		return WorkingDays{}, false, nil
	}
	if err != nil {
		return WorkingDays{}, false, fmt.Errorf("read the working days: %w", err)
	}
	return w, true, nil
}

// PutWorkingDays writes them at their version. It reports false, and writes
// nothing, where the version before is not the one stored.
func PutWorkingDays(ctx context.Context, tx pgx.Tx, coopID string, w WorkingDays) (bool, error) {
	const sql = `
		INSERT INTO working_days AS old (coop_id, rules, marked_days, version, changed_by, changed_at)
		VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (coop_id) DO UPDATE SET
			rules = excluded.rules, marked_days = excluded.marked_days,
			version = excluded.version, changed_by = excluded.changed_by, changed_at = excluded.changed_at
		WHERE old.version = excluded.version - 1`
	tag, err := tx.Exec(ctx, sql, coopID, w.Rules, w.Marked, w.Version, w.By, w.At)
	if err != nil {
		return false, fmt.Errorf("write the working days: %w", err)
	}
	return tag.RowsAffected() == 1, nil
}
