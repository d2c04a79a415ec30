package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
)

// readStages fills in the stages of the crops.
func readStages(ctx context.Context, db pg.DB, crops []Crop) error {
	at := make(map[string]int, len(crops))
	ids := make([]string, len(crops))
	for i, c := range crops {
		at[c.ID], ids[i] = i, c.ID
	}
	const sql = `
		SELECT crop_id, kind, start_date - ` + epoch + `, end_date - ` + epoch + `,
			earliest_date - ` + epoch + `, latest_date - ` + epoch + `, actual_start_date - ` + epoch + `, outside_range
		FROM crop_stage WHERE crop_id = ANY($1) ORDER BY crop_id, ordinal`
	rows, err := db.Query(ctx, sql, ids)
	if err != nil {
		return fmt.Errorf("read stages: %w", err)
	}
	var id string
	var s Stage
	_, err = pgx.ForEachRow(rows, []any{&id, &s.Kind, &s.Start, &s.End, &s.Earliest, &s.Latest, &s.Actual, &s.OutsideRange}, func() error {
		crop := &crops[at[id]]
		crop.Stages = append(crop.Stages, s)
		s = Stage{}
		return nil
	})
	if err != nil {
		return fmt.Errorf("read stages: %w", err)
	}
	return nil
}

// putStages writes the stages of a crop in one statement. A crop keeps its
// programme, so its stages stay the same in kind and number.
func putStages(ctx context.Context, tx pgx.Tx, coopID string, c Crop) error {
	n := len(c.Stages)
	kinds, outside := make([]string, n), make([]bool, n)
	start, end, earliest, latest := make([]calendar.Date, n), make([]calendar.Date, n), make([]calendar.Date, n), make([]calendar.Date, n)
	actual := make([]*calendar.Date, n)
	for i, s := range c.Stages {
		kinds[i], outside[i] = string(s.Kind), s.OutsideRange
		start[i], end[i], earliest[i], latest[i], actual[i] = s.Start, s.End, s.Earliest, s.Latest, s.Actual
	}
	const sql = `
		INSERT INTO crop_stage (coop_id, crop_id, ordinal, kind, start_date, end_date, earliest_date, latest_date, actual_start_date, outside_range)
		SELECT $1, $2, s.ordinal - 1, s.kind, ` + epoch + ` + s.start_day, ` + epoch + ` + s.end_day,
			` + epoch + ` + s.earliest_day, ` + epoch + ` + s.latest_day, ` + epoch + ` + s.actual_day, s.outside
		FROM unnest($3::text[], $4::integer[], $5::integer[], $6::integer[], $7::integer[], $8::integer[], $9::boolean[])
			WITH ORDINALITY AS s (kind, start_day, end_day, earliest_day, latest_day, actual_day, outside, ordinal)
		ON CONFLICT (coop_id, crop_id, ordinal) DO UPDATE SET
			start_date = excluded.start_date, end_date = excluded.end_date,
			earliest_date = excluded.earliest_date, latest_date = excluded.latest_date,
			actual_start_date = excluded.actual_start_date, outside_range = excluded.outside_range`
	if _, err := tx.Exec(ctx, sql, coopID, c.ID, kinds, start, end, earliest, latest, actual, outside); err != nil {
		return fmt.Errorf("write the stages of crop %q: %w", c.ID, err)
	}
	return nil
}
