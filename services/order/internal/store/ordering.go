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
	// Zone is the co-op's time zone, IANA; empty where nobody has told. It is not saved with the
	// rules.
	Zone string
}

// ClosedDay is a day without deliveries.
type ClosedDay struct{ Day, Name string }

// OrderingSettings returns the rules; version 0 where none were saved.
func OrderingSettings(ctx context.Context, db pg.DB) (Ordering, error) {
	type row struct {
		Clock               *string
		DaysBefore, Horizon int32
		Change
		Zone        string
		Days, Names []string
	}
	// Each table has one row of a co-op, or none.
	all, err := collect[row](ctx, db, "ordering settings", `
		SELECT o.cutoff_time, coalesce(o.cutoff_days_before, 0), coalesce(o.horizon_days, 0),
			coalesce(o.version, 0), coalesce(o.changed_by, ''), coalesce(o.changed_at, 'epoch'), coalesce(c.time_zone, ''),
			array(SELECT d.day::text FROM closed_day d ORDER BY d.day), array(SELECT d.name FROM closed_day d ORDER BY d.day)
		FROM (SELECT 1) AS once LEFT JOIN ordering_settings o ON true LEFT JOIN coop c ON true`)
	if err != nil {
		return Ordering{}, err
	}
	r := all[0]
	o := Ordering{Clock: r.Clock, DaysBefore: r.DaysBefore, Horizon: r.Horizon, Change: r.Change, Zone: r.Zone}
	for i, day := range r.Days {
		o.Closed = append(o.Closed, ClosedDay{Day: day, Name: r.Names[i]})
	}
	return o, nil
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
