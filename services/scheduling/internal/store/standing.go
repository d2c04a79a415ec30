package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
)

// StandingOrder is what the order service tells of a standing order.
type StandingOrder struct {
	ID, CustomerID string
	From           calendar.Date
	Until          *calendar.Date // the last day; nil for no end
	Live           bool           // neither paused nor ended
	Version        int64
	Lines          []StandingLine
	Rests          []StandingRest
}

// StandingLine is packs of a product on a day of every week.
type StandingLine struct {
	ProductID string
	Weekday   int16 // ISO 8601: 1 is Monday
	Packs     int64
}

// StandingRest is a run of days, both included, on which nothing is asked for.
type StandingRest struct {
	From, Until calendar.Date
}

// SaveStandingOrder keeps the standing order unless a newer version is there.
func SaveStandingOrder(ctx context.Context, tx pgx.Tx, coopID string, o StandingOrder) error {
	const sql = `
		INSERT INTO standing_order AS old (coop_id, standing_order_id, customer_id, from_date, until_date, live, version)
		VALUES ($1, $2, $3, ` + epoch + ` + $4::integer, ` + epoch + ` + $5::integer, $6, $7)
		ON CONFLICT (coop_id, standing_order_id) DO UPDATE SET
			customer_id = excluded.customer_id, from_date = excluded.from_date, until_date = excluded.until_date,
			live = excluded.live, version = excluded.version
		WHERE old.version < excluded.version`
	tag, err := tx.Exec(ctx, sql, coopID, o.ID, o.CustomerID, o.From, o.Until, o.Live, o.Version)
	if err != nil {
		return fmt.Errorf("keep standing order %q: %w", o.ID, err)
	}
	if tag.RowsAffected() == 0 {
		return nil
	}
	batch := &pgx.Batch{}
	batch.Queue(`DELETE FROM standing_order_line WHERE standing_order_id = $1`, o.ID)
	batch.Queue(`DELETE FROM standing_order_rest WHERE standing_order_id = $1`, o.ID)
	for _, l := range o.Lines {
		batch.Queue(`INSERT INTO standing_order_line (coop_id, standing_order_id, product_id, weekday, packs) VALUES ($1, $2, $3, $4, $5)`,
			coopID, o.ID, l.ProductID, l.Weekday, l.Packs)
	}
	for _, r := range o.Rests {
		batch.Queue(`INSERT INTO standing_order_rest (coop_id, standing_order_id, from_date, until_date)
			VALUES ($1, $2, `+epoch+` + $3::integer, `+epoch+` + $4::integer)`, coopID, o.ID, r.From, r.Until)
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return fmt.Errorf("keep the lines of standing order %q: %w", o.ID, err)
	}
	return nil
}

// ListStandingOrders reads the live standing orders that have not ended before a
// day, with their lines by product and weekday and their rests by day.
func ListStandingOrders(ctx context.Context, db pg.DB, from calendar.Date) ([]StandingOrder, error) {
	const sql = `
		SELECT standing_order_id, customer_id, from_date - ` + epoch + `, until_date - ` + epoch + `, live, version
		FROM standing_order WHERE live AND (until_date IS NULL OR until_date >= ` + epoch + ` + $1::integer)
		ORDER BY standing_order_id COLLATE "C"`
	rows, err := db.Query(ctx, sql, from)
	if err != nil {
		return nil, fmt.Errorf("list standing orders: %w", err)
	}
	at := map[string]int{}
	orders, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (StandingOrder, error) {
		var o StandingOrder
		err := row.Scan(&o.ID, &o.CustomerID, &o.From, &o.Until, &o.Live, &o.Version)
		at[o.ID] = len(at)
		return o, err
	})
	if err != nil || len(orders) == 0 {
		return nil, listFault(err)
	}
	const lines = `SELECT standing_order_id, product_id, weekday, packs FROM standing_order_line
		ORDER BY standing_order_id COLLATE "C", product_id COLLATE "C", weekday`
	if rows, err = db.Query(ctx, lines); err != nil {
		return nil, listFault(err)
	}
	var id string
	var line StandingLine
	if _, err = pgx.ForEachRow(rows, []any{&id, &line.ProductID, &line.Weekday, &line.Packs}, func() error {
		if i, ok := at[id]; ok {
			orders[i].Lines = append(orders[i].Lines, line)
		}
		return nil
	}); err != nil {
		return nil, listFault(err)
	}
	const rests = `SELECT standing_order_id, from_date - ` + epoch + `, until_date - ` + epoch + ` FROM standing_order_rest
		ORDER BY standing_order_id COLLATE "C", from_date`
	if rows, err = db.Query(ctx, rests); err != nil {
		return nil, listFault(err)
	}
	var rest StandingRest
	_, err = pgx.ForEachRow(rows, []any{&id, &rest.From, &rest.Until}, func() error {
		if i, ok := at[id]; ok {
			orders[i].Rests = append(orders[i].Rests, rest)
		}
		return nil
	})
	return orders, listFault(err)
}

func listFault(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("list the lines of standing orders: %w", err)
}

// CustomerDay is a day of delivery to a customer.
type CustomerDay struct {
	CustomerID string
	Day        calendar.Date
}

// StandingDays lists the days, from one on, for which a standing order has become an
// order, whatever has become of that since.
func StandingDays(ctx context.Context, db pg.DB, from calendar.Date) (map[CustomerDay]bool, error) {
	const sql = `SELECT DISTINCT customer_id, delivery_date - ` + epoch + ` FROM customer_order
		WHERE origin = 'standing' AND delivery_date >= ` + epoch + ` + $1::integer`
	rows, err := db.Query(ctx, sql, from)
	if err != nil {
		return nil, fmt.Errorf("list days of standing orders: %w", err)
	}
	days := map[CustomerDay]bool{}
	var day CustomerDay
	_, err = pgx.ForEachRow(rows, []any{&day.CustomerID, &day.Day}, func() error {
		days[day] = true
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("list days of standing orders: %w", err)
	}
	return days, nil
}

// OrderedByHand is what a customer ordered of a product in a week otherwise than by
// a standing order.
type OrderedByHand struct {
	ProductID, CustomerID string
	Week                  calendar.Date // a Monday
	Grams                 int64
}

// ListOrderedByHand sums the orders by hand of the customers, from a day on and
// before another, by product, customer and week.
func ListOrderedByHand(ctx context.Context, db pg.DB, customers []string, from, until calendar.Date) ([]OrderedByHand, error) {
	const sql = `
		WITH summed AS MATERIALIZED (
			SELECT l.product_id, o.customer_id, o.delivery_date, sum(l.packs) AS packs
			FROM customer_order o JOIN customer_order_line l USING (coop_id, order_id)
			WHERE NOT o.cancelled AND o.origin = 'hand' AND o.customer_id = ANY($1)
				AND o.delivery_date >= ` + epoch + ` + $2::integer AND o.delivery_date < ` + epoch + ` + $3::integer
			GROUP BY l.product_id, o.customer_id, o.delivery_date)
		SELECT s.product_id, s.customer_id, date_trunc('week', s.delivery_date)::date - ` + epoch + `, sum(s.packs * p.pack_grams)::bigint
		FROM summed s JOIN product p USING (product_id)
		GROUP BY 1, 2, 3 ORDER BY s.product_id COLLATE "C", s.customer_id COLLATE "C", 3`
	rows, err := db.Query(ctx, sql, customers, from, until)
	if err != nil {
		return nil, fmt.Errorf("sum orders by hand: %w", err)
	}
	out, err := pgx.CollectRows(rows, pgx.RowToStructByPos[OrderedByHand])
	if err != nil {
		return nil, fmt.Errorf("sum orders by hand: %w", err)
	}
	return out, nil
}
