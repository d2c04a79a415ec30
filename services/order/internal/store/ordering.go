package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Ordering are a co-op's rules for when customers may order.
type Ordering struct {
	// Clock is the time of day of the cut-off, nil for none.
	Clock               *string
	DaysBefore, Horizon int32
	Change
	Closed []ClosedDay // by day
}

// ClosedDay is a day without deliveries.
type ClosedDay struct{ Day, Name string }

// OrderingSettings returns the rules; version 0 where none were saved.
func OrderingSettings(ctx context.Context, db pg.DB) (Ordering, error) {
	type row struct {
		Clock               *string
		DaysBefore, Horizon int32
		Change
	}
	all, err := collect[row](ctx, db, "ordering settings", `
		SELECT cutoff_time, cutoff_days_before, horizon_days, version, changed_by, changed_at FROM ordering_settings`)
	if err != nil || len(all) == 0 {
		return Ordering{}, err
	}
	closed, err := collect[ClosedDay](ctx, db, "closed days", `SELECT day::text, name FROM closed_day ORDER BY closed_day.day`)
	r := all[0]
	return Ordering{Clock: r.Clock, DaysBefore: r.DaysBefore, Horizon: r.Horizon, Change: r.Change, Closed: closed}, err
}

// SaveOrderingSettings replaces the rules.
func SaveOrderingSettings(ctx context.Context, tx pgx.Tx, o Ordering) error {
	if _, err := change(ctx, tx, "ordering settings", `
		INSERT INTO ordering_settings (cutoff_time, cutoff_days_before, horizon_days, version, changed_by, changed_at)
		VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (coop_id) DO UPDATE SET
			cutoff_time = EXCLUDED.cutoff_time, cutoff_days_before = EXCLUDED.cutoff_days_before, horizon_days = EXCLUDED.horizon_days,
			version = EXCLUDED.version, changed_by = EXCLUDED.changed_by, changed_at = EXCLUDED.changed_at`,
		o.Clock, o.DaysBefore, o.Horizon, o.Version, o.By, o.At); err != nil {
		return err
	}
	if _, err := change(ctx, tx, "closed days", `DELETE FROM closed_day`); err != nil {
		return err
	}
	_, err := change(ctx, tx, "closed days", `
		INSERT INTO closed_day (day, name) SELECT day::date, name FROM unnest($1::text[], $2::text[]) AS c (day, name)`,
		column(o.Closed, func(c ClosedDay) string { return c.Day }), column(o.Closed, func(c ClosedDay) string { return c.Name }))
	return err
}

// TimeZone returns the co-op's time zone, IANA; empty where it is not known.
func TimeZone(ctx context.Context, db pg.DB) (string, error) {
	all, err := collect[struct{ Zone string }](ctx, db, "co-op", `SELECT time_zone FROM coop`)
	if err != nil || len(all) == 0 {
		return "", err
	}
	return all[0].Zone, nil
}
