package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// StandingOrder is one standing order with its lines and the days on which it rests.
type StandingOrder struct {
	ID, Customer, From string
	// Until is nil for no end.
	Until         *string
	Paused, Ended bool
	Change
	Lines []StandingLine
	Rests []StandingRest // by day
}

// StandingLine is a number of packs on some days of every week.
type StandingLine struct {
	Product         string
	Packs, Smallest int64
	// Weekdays are bits: 1 is Monday, 64 Sunday.
	Weekdays int32
}

// StandingRest is the first and last of days on which a standing order rests.
type StandingRest struct{ From, Until, Note string }

// standingRow is a standing order with its lines and rests in columns.
type standingRow struct {
	ID, Customer, From string
	Until              *string
	Paused, Ended      bool
	Change
	Products                      []string
	Packs, Smallest               []int64
	Weekdays                      []int32
	RestsFrom, RestsUntil, Rested []string
}

const selectStanding = `
	SELECT o.standing_order_id, o.customer_id, o.from_date::text, o.until_date::text, o.paused, o.ended, o.version, o.changed_by, o.changed_at,
		l.products, l.packs, l.smallest, l.weekdays, r.first, r.last, r.notes
	FROM standing_order o
	CROSS JOIN LATERAL (
		SELECT array_agg(product_id ORDER BY position) AS products, array_agg(packs ORDER BY position) AS packs,
			array_agg(smallest ORDER BY position) AS smallest, array_agg(weekdays ORDER BY position) AS weekdays
		FROM standing_line WHERE standing_order_id = o.standing_order_id
	) l
	CROSS JOIN LATERAL (
		SELECT array_agg(from_date::text ORDER BY from_date) AS first, array_agg(until_date::text ORDER BY from_date) AS last,
			array_agg(note ORDER BY from_date) AS notes
		FROM standing_rest WHERE standing_order_id = o.standing_order_id
	) r`

// StandingOrders returns the standing orders of a customer, or of all where none is named, by
// customer and id; those that were ended only where asked for.
func StandingOrders(ctx context.Context, db pg.DB, customer string, withEnded bool) ([]StandingOrder, error) {
	rows, err := collect[standingRow](ctx, db, "standing orders", selectStanding+`
		WHERE ($1 = '' OR o.customer_id = $1) AND ($2 OR NOT o.ended) ORDER BY o.customer_id, o.standing_order_id`, customer, withEnded)
	return column(rows, standingRow.order), err
}

// StandingOrdersByID returns those of the ids that exist.
func StandingOrdersByID(ctx context.Context, db pg.DB, ids []string) (map[string]StandingOrder, error) {
	rows, err := collect[standingRow](ctx, db, "standing orders", selectStanding+` WHERE o.standing_order_id = ANY($1)`, ids)
	return keyed(column(rows, standingRow.order), func(o StandingOrder) string { return o.ID }), err
}

func (r standingRow) order() StandingOrder {
	o := StandingOrder{ID: r.ID, Customer: r.Customer, From: r.From, Until: r.Until, Paused: r.Paused, Ended: r.Ended, Change: r.Change}
	for i, product := range r.Products {
		o.Lines = append(o.Lines, StandingLine{Product: product, Packs: r.Packs[i], Smallest: r.Smallest[i], Weekdays: r.Weekdays[i]})
	}
	for i, from := range r.RestsFrom {
		o.Rests = append(o.Rests, StandingRest{From: from, Until: r.RestsUntil[i], Note: r.Rested[i]})
	}
	return o
}

// SaveStandingOrders creates or replaces standing orders with their lines and rests, and puts the
// co-op on the roll of those that have some.
func SaveStandingOrders(ctx context.Context, tx pgx.Tx, all []StandingOrder) error {
	if len(all) == 0 {
		return nil
	}
	if _, err := change(ctx, tx, "roll", `INSERT INTO standing_roll DEFAULT VALUES ON CONFLICT DO NOTHING`); err != nil {
		return err
	}
	text := func(value func(StandingOrder) string) []string { return column(all, value) }
	ids := text(func(o StandingOrder) string { return o.ID })
	if _, err := change(ctx, tx, "standing orders", `
		INSERT INTO standing_order (standing_order_id, customer_id, from_date, until_date, paused, ended, version, changed_by, changed_at)
		SELECT id, customer, first::date, last::date, paused, ended, version, by, at
		FROM unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::boolean[], $6::boolean[], $7::bigint[], $8::text[], $9::timestamptz[])
			AS o (id, customer, first, last, paused, ended, version, by, at)
		ON CONFLICT (coop_id, standing_order_id) DO UPDATE SET
			from_date = EXCLUDED.from_date, until_date = EXCLUDED.until_date, paused = EXCLUDED.paused, ended = EXCLUDED.ended,
			version = EXCLUDED.version, changed_by = EXCLUDED.changed_by, changed_at = EXCLUDED.changed_at`,
		ids, text(func(o StandingOrder) string { return o.Customer }), text(func(o StandingOrder) string { return o.From }),
		column(all, func(o StandingOrder) *string { return o.Until }),
		column(all, func(o StandingOrder) bool { return o.Paused }), column(all, func(o StandingOrder) bool { return o.Ended }),
		column(all, func(o StandingOrder) int64 { return o.Version }), text(func(o StandingOrder) string { return o.By }),
		column(all, func(o StandingOrder) time.Time { return o.At })); err != nil {
		return err
	}
	for _, table := range []string{"standing_line", "standing_rest"} {
		if _, err := change(ctx, tx, table, fmt.Sprintf(`DELETE FROM %s WHERE standing_order_id = ANY($1)`, table), ids); err != nil {
			return err
		}
	}
	if err := addStandingLines(ctx, tx, all); err != nil {
		return err
	}
	return addStandingRests(ctx, tx, all)
}

func addStandingLines(ctx context.Context, tx pgx.Tx, all []StandingOrder) error {
	var orders, products []string
	var positions, weekdays []int32
	var packs, smallest []int64
	for _, o := range all {
		for i, l := range o.Lines {
			orders, products, positions = append(orders, o.ID), append(products, l.Product), append(positions, int32(i+1))
			packs, smallest, weekdays = append(packs, l.Packs), append(smallest, l.Smallest), append(weekdays, l.Weekdays)
		}
	}
	_, err := change(ctx, tx, "standing lines", `
		INSERT INTO standing_line (standing_order_id, position, product_id, packs, smallest, weekdays)
		SELECT * FROM unnest($1::text[], $2::integer[], $3::text[], $4::bigint[], $5::bigint[], $6::integer[])`,
		orders, positions, products, packs, smallest, weekdays)
	return err
}

func addStandingRests(ctx context.Context, tx pgx.Tx, all []StandingOrder) error {
	var orders, from, until, notes []string
	for _, o := range all {
		for _, r := range o.Rests {
			orders, from, until, notes = append(orders, o.ID), append(from, r.From), append(until, r.Until), append(notes, r.Note)
		}
	}
	_, err := change(ctx, tx, "standing rests", `
		INSERT INTO standing_rest (standing_order_id, from_date, until_date, note)
		SELECT id, first::date, last::date, note FROM unnest($1::text[], $2::text[], $3::text[], $4::text[]) AS r (id, first, last, note)`,
		orders, from, until, notes)
	return err
}

// CoopsWithStandingOrders returns the ids of the co-ops that have standing orders. It is the one
// reading that sees more than one co-op, and it sees nothing but ids.
func CoopsWithStandingOrders(ctx context.Context, db pg.DB) ([]string, error) {
	type row struct{ ID string }
	all, err := collect[row](ctx, db, "co-ops", `SELECT coop_id::text FROM standing_roll ORDER BY 1`)
	return column(all, func(r row) string { return r.ID }), err
}
