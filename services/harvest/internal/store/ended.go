package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/growth"
	"breakshare.example/services/platform/pg"
)

// mostEnded is from how many of a programme's ended crops is learnt, the newest:
// older ones stood under other compost, strains and people.
const mostEnded = 60

// EndedCrops returns the ended crops of each programme with what was picked of
// them, the newest first.
func EndedCrops(ctx context.Context, tx pgx.Tx, programmes []string) (map[string][]growth.Ended, error) {
	const ended = `
		SELECT programme_id, crop_id, area, fill_date, free_date, steps FROM (
			SELECT c.programme_id, c.crop_id, coalesce(c.area_m2, r.area_m2, 0) AS area, c.fill_date, c.free_date, c.steps,
				row_number() OVER (PARTITION BY c.programme_id ORDER BY c.free_date DESC, c.crop_id) AS place
			FROM ` + growingTables + `
			WHERE c.ended AND c.filled AND c.programme_id = ANY($1)
		) e WHERE place <= $2 ORDER BY programme_id, place`
	// A weighing that another took the place of does not stand.
	const picked = `
		SELECT l.crop_id, l.date, coalesce(p.break_number, 0), sum(p.gross_grams - p.tare_grams)::bigint
		FROM pick_lot l JOIN pick p ON p.coop_id = l.coop_id AND p.pick_lot_id = l.pick_lot_id
		WHERE l.crop_id = ANY($1) AND NOT EXISTS (SELECT FROM pick q WHERE q.corrects_pick_id = p.pick_id)
		GROUP BY 1, 2, 3 ORDER BY 1, 2, 3`
	type row struct {
		programme string
		growth.Ended
	}
	list, err := collect(ctx, tx, func(r pgx.CollectableRow) (e row, err error) {
		err = r.Scan(&e.programme, &e.ID, &e.AreaM2, dayInto{&e.Fill}, dayInto{&e.Free}, &e.Steps)
		return e, err
	}, ended, programmes, mostEnded)
	if err != nil || len(list) == 0 {
		return nil, wrap("read ended crops", err)
	}
	picks := map[string][]growth.BreakPick{}
	if err := eachPick(ctx, tx, picked, column(list, func(e row) string { return e.ID }), picks); err != nil {
		return nil, wrap("read the picks of ended crops", err)
	}
	out := map[string][]growth.Ended{}
	for _, e := range list {
		e.Picks = picks[e.ID]
		out[e.programme] = append(out[e.programme], e.Ended)
	}
	return out, nil
}

func eachPick(ctx context.Context, db pg.DB, sql string, crops []string, into map[string][]growth.BreakPick) error {
	rows, err := db.Query(ctx, sql, crops)
	if err != nil {
		return err
	}
	var crop string
	var p growth.BreakPick
	_, err = pgx.ForEachRow(rows, []any{&crop, dayInto{&p.Day}, &p.Break, &p.Grams}, func() error {
		into[crop] = append(into[crop], p)
		return nil
	})
	return err
}

// Changes is how often what others told has changed, see LockFacts.
func Changes(ctx context.Context, db pg.DB) (n int64, err error) {
	err = db.QueryRow(ctx, `SELECT coalesce(max(changes), 0) FROM told_changes`).Scan(&n)
	return n, wrap("see whether anything changed", err)
}
