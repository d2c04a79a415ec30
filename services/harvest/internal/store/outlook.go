package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/fusion"
	"breakshare.example/services/harvest/internal/outlook"
	"breakshare.example/services/platform/pg"
)

// Outlook is what was said, modelled and used of a pick lot when its day was
// closed.
type Outlook struct {
	LotID              string
	Said, Fixed, Model *fusion.Band
	Programme          *fusion.Band // the model without what ended crops taught
	Combined, Used     fusion.Band
	PushPerMille       int
	ClosedAt           time.Time
}

// SaveOutlooks writes outlooks, in place of earlier ones of the same lots.
func SaveOutlooks(ctx context.Context, tx pgx.Tx, list []Outlook) error {
	const sql = `
		INSERT INTO outlook (pick_lot_id, said_low, said_likely, said_high, fixed_low, fixed_likely, fixed_high,
			model_low, model_likely, model_high, combined_low, combined_likely, combined_high,
			used_low, used_likely, used_high, programme_low, programme_likely, programme_high, push_per_mille, closed_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21)
		ON CONFLICT (coop_id, pick_lot_id) DO UPDATE
		SET said_low = excluded.said_low, said_likely = excluded.said_likely, said_high = excluded.said_high,
		    fixed_low = excluded.fixed_low, fixed_likely = excluded.fixed_likely, fixed_high = excluded.fixed_high,
		    model_low = excluded.model_low, model_likely = excluded.model_likely, model_high = excluded.model_high,
		    combined_low = excluded.combined_low, combined_likely = excluded.combined_likely, combined_high = excluded.combined_high,
		    used_low = excluded.used_low, used_likely = excluded.used_likely, used_high = excluded.used_high,
		    programme_low = excluded.programme_low, programme_likely = excluded.programme_likely, programme_high = excluded.programme_high,
		    push_per_mille = excluded.push_per_mille, closed_at = excluded.closed_at`
	batch := &pgx.Batch{}
	for _, o := range list {
		args := []any{o.LotID}
		for _, b := range []*fusion.Band{o.Said, o.Fixed, o.Model, &o.Combined, &o.Used, o.Programme} {
			if b == nil {
				args = append(args, nil, nil, nil)
				continue
			}
			args = append(args, b.Low, b.Likely, b.High)
		}
		batch.Queue(sql, append(args, o.PushPerMille, o.ClosedAt)...)
	}
	return wrap("save outlooks", tx.SendBatch(ctx, batch).Close())
}

// nullBand scans three columns that are NULL together.
type nullBand struct{ low, likely, high *int64 }

func (n *nullBand) into() []any { return []any{&n.low, &n.likely, &n.high} }

func (n nullBand) band() *fusion.Band {
	if n.low == nil || n.likely == nil || n.high == nil {
		return nil
	}
	return &fusion.Band{Low: *n.low, Likely: *n.likely, High: *n.high}
}

// OutlooksOfDays returns the outlooks of closed days by the code of their lot.
func OutlooksOfDays(ctx context.Context, db pg.DB, from, to day.Date, farmID string) (map[string]Outlook, error) {
	const sql = `
		SELECT o.pick_lot_id, o.said_low, o.said_likely, o.said_high, o.fixed_low, o.fixed_likely, o.fixed_high,
			o.model_low, o.model_likely, o.model_high, o.combined_low, o.combined_likely, o.combined_high,
			o.used_low, o.used_likely, o.used_high, o.push_per_mille, o.closed_at
		FROM outlook o JOIN pick_lot l USING (coop_id, pick_lot_id)
		WHERE l.date BETWEEN $1 AND $2 AND ($3 = '' OR l.farm_id = $3)`
	list, err := collect(ctx, db, func(row pgx.CollectableRow) (o Outlook, err error) {
		var said, fixed, model nullBand
		into := append([]any{&o.LotID}, said.into()...)
		into = append(append(into, fixed.into()...), model.into()...)
		into = append(into, &o.Combined.Low, &o.Combined.Likely, &o.Combined.High, &o.Used.Low, &o.Used.Likely, &o.Used.High, &o.PushPerMille, &o.ClosedAt)
		err = row.Scan(into...)
		o.Said, o.Fixed, o.Model = said.band(), fixed.band(), model.band()
		return o, err
	}, sql, from.Time(), to.Time(), farmID)
	if err != nil {
		return nil, wrap("read the outlooks of a span of days", err)
	}
	return index(list, func(o Outlook) string { return o.LotID }), nil
}

// PastOfDays returns every lot of a span of days of which it is known what came,
// by day, room and product: something was picked in its room that day, and be
// it nothing of this product. What was said is the last push before the cut-off,
// and where all came late, the first of them.
func PastOfDays(ctx context.Context, db pg.DB, from, to day.Date, farmID string) ([]outlook.Past, error) {
	const sql = `
		WITH said AS (
			SELECT DISTINCT ON (v.pick_lot_id) v.pick_lot_id, v.low_grams, v.likely_grams, v.high_grams
			FROM expected_pick_version v JOIN pick_lot l USING (coop_id, pick_lot_id)
			WHERE l.date BETWEEN $1 AND $2 AND NOT v.stand_in AND ($3 = '' OR l.farm_id = $3)
			ORDER BY v.pick_lot_id, v.late, CASE WHEN v.late THEN v.version ELSE -v.version END
		), picked AS (
			SELECT DISTINCT room_id, date FROM pick_lot WHERE date BETWEEN $1 AND $2 AND picks > 0
		)
		SELECT l.farm_id, l.room_id, l.product_id, l.date, l.net_grams,
			s.low_grams, s.likely_grams, s.high_grams, o.model_low, o.model_likely, o.model_high,
			o.combined_low, o.combined_likely, o.combined_high, o.used_low, o.used_likely, o.used_high,
			o.programme_low, o.programme_likely, o.programme_high
		FROM pick_lot l JOIN picked USING (room_id, date)
			LEFT JOIN said s USING (pick_lot_id) LEFT JOIN outlook o USING (coop_id, pick_lot_id)
		WHERE l.date BETWEEN $1 AND $2 AND ($3 = '' OR l.farm_id = $3)
		ORDER BY l.date, l.room_id, l.product_id`
	list, err := collect(ctx, db, func(row pgx.CollectableRow) (p outlook.Past, err error) {
		var said, model, combined, used, programme nullBand
		into := append([]any{&p.FarmID, &p.RoomID, &p.ProductID, dayInto{&p.Day}, &p.Actual}, said.into()...)
		for _, b := range []*nullBand{&model, &combined, &used, &programme} {
			into = append(into, b.into()...)
		}
		err = row.Scan(into...)
		p.Said, p.Model, p.Combined, p.Used = said.band(), model.band(), combined.band(), used.band()
		p.Programme = programme.band()
		return p, err
	}, sql, from.Time(), to.Time(), farmID)
	return list, wrap("read what came of what was expected", err)
}

// CloseDay notes that a day was closed; again where it was before.
func CloseDay(ctx context.Context, db pg.DB, on day.Date, at time.Time) error {
	const sql = `
		INSERT INTO day_closed (date, closed_at) VALUES ($1, $2)
		ON CONFLICT (coop_id, date) DO UPDATE SET closed_at = excluded.closed_at`
	_, err := db.Exec(ctx, sql, on.Time(), at)
	return wrap("close the day", err)
}

// DayClosed reports whether a day was closed.
func DayClosed(ctx context.Context, db pg.DB, on day.Date) (closed bool, err error) {
	err = db.QueryRow(ctx, `SELECT EXISTS (SELECT FROM day_closed WHERE date = $1)`, on.Time()).Scan(&closed)
	return closed, wrap("see whether the day is closed", err)
}

// LockClosing lets one at a time close days of a co-op, until the transaction
// ends.
func LockClosing(ctx context.Context, tx pgx.Tx) error {
	_, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1, hashtext(current_setting('breakshare.coop')))`, closingLock)
	return wrap("lock the closing of days", err)
}

const closingLock = genealogyLock + 1
