package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/platform/pg"
)

// Expected is what somebody expects of one pick lot, in one version.
type Expected struct {
	LotID             string
	Low, Likely, High int64 // grams
	Version           int64
	PushedBy          string
	PushedAt          time.Time
	Late              bool   // after the cut-off
	StandIn           bool   // the forecast's, until somebody pushes
	RoomID, ProductID string // of the lot; ignored when saved
	Day               day.Date
	FarmID, CropID    string
	Held              bool // the lot may not be sold
}

// figureColumns in the order of scanFigures, of expected_pick e.
const figureColumns = `e.pick_lot_id, e.low_grams, e.likely_grams, e.high_grams, e.version, e.pushed_by, e.pushed_at, e.late, e.stand_in`

func scanFigures(row pgx.CollectableRow) (e Expected, err error) {
	err = row.Scan(&e.LotID, &e.Low, &e.Likely, &e.High, &e.Version, &e.PushedBy, &e.PushedAt, &e.Late, &e.StandIn)
	return e, err
}

// expectedColumns in the order of scanExpected, of expected_pick e and its
// pick_lot l.
const expectedColumns = figureColumns + `,
	l.room_id, l.product_id, l.date, l.farm_id, l.crop_id, l.held OR l.compost_held`

func scanExpected(row pgx.CollectableRow) (e Expected, err error) {
	err = row.Scan(&e.LotID, &e.Low, &e.Likely, &e.High, &e.Version, &e.PushedBy, &e.PushedAt, &e.Late, &e.StandIn,
		&e.RoomID, &e.ProductID, dayInto{&e.Day}, &e.FarmID, &e.CropID, &e.Held)
	return e, err
}

// QueueExpected has a batch write figures as the newest and add them to the
// history. The caller holds the lots, see OpenLots.
func QueueExpected(b *pgx.Batch, list []Expected) {
	const sql = `
		WITH pushed AS (
			SELECT * FROM unnest($1::text[], $2::bigint[], $3::bigint[], $4::bigint[], $5::bigint[], $6::text[], $7::timestamptz[], $8::boolean[], $9::boolean[])
				AS p (pick_lot_id, low_grams, likely_grams, high_grams, version, pushed_by, pushed_at, late, stand_in)
		), history AS (
			INSERT INTO expected_pick_version (pick_lot_id, low_grams, likely_grams, high_grams, version, pushed_by, pushed_at, late, stand_in)
			SELECT pick_lot_id, low_grams, likely_grams, high_grams, version, pushed_by, pushed_at, late, stand_in FROM pushed
		)
		INSERT INTO expected_pick (pick_lot_id, low_grams, likely_grams, high_grams, version, pushed_by, pushed_at, late, stand_in)
		SELECT pick_lot_id, low_grams, likely_grams, high_grams, version, pushed_by, pushed_at, late, stand_in FROM pushed
		ON CONFLICT (coop_id, pick_lot_id) DO UPDATE
		SET low_grams = excluded.low_grams, likely_grams = excluded.likely_grams, high_grams = excluded.high_grams,
		    version = excluded.version, pushed_by = excluded.pushed_by, pushed_at = excluded.pushed_at,
		    late = excluded.late, stand_in = excluded.stand_in`
	b.Queue(sql,
		column(list, func(e Expected) string { return e.LotID }),
		column(list, func(e Expected) int64 { return e.Low }),
		column(list, func(e Expected) int64 { return e.Likely }),
		column(list, func(e Expected) int64 { return e.High }),
		column(list, func(e Expected) int64 { return e.Version }),
		column(list, func(e Expected) string { return e.PushedBy }),
		column(list, func(e Expected) time.Time { return e.PushedAt }),
		column(list, func(e Expected) bool { return e.Late }),
		column(list, func(e Expected) bool { return e.StandIn }))
}

// ExpectedOfDays returns the newest figures of a span of days by day, room and
// product; those of one farm where farmID is not empty.
func ExpectedOfDays(ctx context.Context, db pg.DB, from, to day.Date, farmID string) ([]Expected, error) {
	const sql = `
		SELECT ` + expectedColumns + ` FROM expected_pick e JOIN pick_lot l USING (coop_id, pick_lot_id)
		WHERE l.date BETWEEN $1 AND $2 AND ($3 = '' OR l.farm_id = $3)
		ORDER BY l.date, l.room_id, l.product_id`
	list, err := collect(ctx, db, scanExpected, sql, from.Time(), to.Time(), farmID)
	return list, wrap("read the expected picks of a span of days", err)
}

// ExpectedVersions returns all figures ever given of the lot, oldest first.
func ExpectedVersions(ctx context.Context, db pg.DB, lotID string) ([]Expected, error) {
	const sql = `
		SELECT ` + expectedColumns + ` FROM expected_pick_version e JOIN pick_lot l USING (coop_id, pick_lot_id)
		WHERE e.pick_lot_id = $1 ORDER BY e.version`
	list, err := collect(ctx, db, scanExpected, sql, lotID)
	return list, wrap("read what was expected of pick lot "+lotID, err)
}
