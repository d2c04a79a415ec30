package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// States of a match.
const (
	Proposed  = "proposed"
	Confirmed = "confirmed"
	Replaced  = "replaced"
)

// MatchHead is a match without its rows.
type MatchHead struct {
	ID, Day       string
	Number        int64
	State         string
	RunAt         time.Time
	RunBy         string
	ConfirmedAt   *time.Time
	ConfirmedBy   *string
	SupplyAsOf    *time.Time
	Nodes, Arcs   int32
	Cost          int64
	SolveMicros   int64
	Version       int64
	Phases        int32
	Splits        int32
	GapMinor      []int64 // by class from 1
	ValueMinor    int64
	PinsCostMinor *int64  // nil where nothing was pinned
	From          *string // the match that was rebalanced, if any
	Confirmations int64   // of the day, so far
}

// Match is a match with its rows.
type Match struct {
	MatchHead
	Lines       []MatchLine
	Allocations []Allocation
	Products    []MatchProduct
	Farms       []MatchFarm
}

// MatchLine is what one order line got. Reason is empty where it is not short.
type MatchLine struct {
	Order, Product, Customer string
	Ordered, Matched         int64
	Reason, Explanation      string
	// Binding has reason=packs with commas between.
	Binding string
	Farms   int32
}

// Allocation is a number of packs from one lot for one order line.
type Allocation struct {
	Order, Product, Lot, Customer, Farm, Room string
	Packs                                     int64
	// Packed is the product of the lot.
	Packed string
}

// MatchProduct sums up one product.
type MatchProduct struct {
	Product                          string
	Offered, Ordered, Matched, Given int64
	MoreWorthMinor                   int64
	FewerCostMinor                   *int64
	WorthMinorPerKg                  int64
	LeftOver                         string
	Likely, PooledGainGrams          int64
	// Said is the packs that growers said are likely.
	Said int64
}

// MatchFarm sums up one farm, and its season before the day.
type MatchFarm struct {
	Farm                         string
	Offered, Matched             int64
	SeasonOffered, SeasonMatched int64
}

const selectMatches = `
	SELECT r.match_id, r.delivery_date::text, r.number, r.state, r.run_at, r.run_by, r.confirmed_at, r.confirmed_by,
		r.supply_as_of, r.nodes, r.arcs, r.cost, r.solve_micros, r.version,
		r.phases, r.splits, r.gap_minor, r.value_minor, r.pins_cost_minor, r.rebalanced_from, d.confirmations
	FROM match_run r JOIN match_day d USING (coop_id, delivery_date)`

// MatchByID returns a match without its rows; found is false where there is none.
func MatchByID(ctx context.Context, db pg.DB, id string) (m MatchHead, found bool, err error) {
	return first(ctx, db, selectMatches+` WHERE r.match_id = $1`, id)
}

// NewestMatch returns the confirmed match of a day, or where there is none the last proposal.
func NewestMatch(ctx context.Context, db pg.DB, day string) (m MatchHead, found bool, err error) {
	return first(ctx, db, selectMatches+`
		WHERE r.delivery_date = $1::date AND r.state IN ('confirmed', 'proposed')
		ORDER BY r.state = 'confirmed' DESC, r.number DESC LIMIT 1`, day)
}

// ConfirmedMatch returns the confirmed match of a day; found is false where there is none.
func ConfirmedMatch(ctx context.Context, db pg.DB, day string) (m MatchHead, found bool, err error) {
	return first(ctx, db, selectMatches+` WHERE r.delivery_date = $1::date AND r.state = 'confirmed'`, day)
}

func first(ctx context.Context, db pg.DB, sql string, arg string) (MatchHead, bool, error) {
	all, err := collect[MatchHead](ctx, db, "matches", sql, arg)
	if err != nil || len(all) == 0 {
		return MatchHead{}, false, err
	}
	return all[0], true, nil
}

// WithRows reads the rows of a match: lines by customer, order and product; allocations by farm,
// customer, product, lot and order; products and farms by id.
func WithRows(ctx context.Context, db pg.DB, head MatchHead) (Match, error) {
	m := Match{MatchHead: head}
	var err error
	if m.Lines, err = collect[MatchLine](ctx, db, "match lines", `
		SELECT order_id, product_id, customer_id, ordered, matched, reason, explanation, binding, farms FROM match_line
		WHERE match_id = $1 ORDER BY customer_id, order_id, product_id`, head.ID); err != nil {
		return m, err
	}
	if m.Allocations, err = Allocations(ctx, db, head.ID, ""); err != nil {
		return m, err
	}
	if m.Products, err = collect[MatchProduct](ctx, db, "match products", `
		SELECT product_id, offered, ordered, matched, coalesce(given, matched), more_worth_minor, fewer_cost_minor, worth_minor_per_kg, left_over,
			coalesce(likely, offered), pooled_gain_grams, coalesce(said, likely, offered)
		FROM match_product
		WHERE match_id = $1 ORDER BY product_id`, head.ID); err != nil {
		return m, err
	}
	m.Farms, err = collect[MatchFarm](ctx, db, "match farms", `
		SELECT farm_id, offered, matched, season_offered, season_matched FROM match_farm WHERE match_id = $1 ORDER BY farm_id`, head.ID)
	return m, err
}

// Allocations returns the allocations of a match by farm, customer, product, lot and order; of
// one farm where one is named.
func Allocations(ctx context.Context, db pg.DB, matchID, farm string) ([]Allocation, error) {
	return collect[Allocation](ctx, db, "allocations", `
		SELECT order_id, product_id, pick_lot_id, customer_id, farm_id, room_id, packs, coalesce(packed_product_id, product_id)
		FROM match_allocation
		WHERE match_id = $1 AND ($2 = '' OR farm_id = $2)
		ORDER BY farm_id, customer_id, product_id, pick_lot_id, order_id`, matchID, farm)
}

// AddMatch stores a proposal: it gives it its number among the day's runs and its id, and
// returns it with both. The caller holds the Book.
func AddMatch(ctx context.Context, tx pgx.Tx, m Match) (Match, error) {
	const day = `
		INSERT INTO match_day (delivery_date, runs) VALUES ($1::date, 1)
		ON CONFLICT (coop_id, delivery_date) DO UPDATE SET runs = match_day.runs + 1
		RETURNING runs, confirmations, to_char(delivery_date, 'YYYYMMDD')`
	var compact string
	if err := tx.QueryRow(ctx, day, m.Day).Scan(&m.Number, &m.Confirmations, &compact); err != nil {
		return Match{}, fmt.Errorf("number the match: %w", err)
	}
	m.ID, m.State, m.Version = fmt.Sprintf("%s-%d", compact, m.Number), Proposed, 1
	const run = `
		INSERT INTO match_run (match_id, delivery_date, number, state, run_at, run_by, supply_as_of, nodes, arcs, cost, solve_micros, version,
			phases, splits, gap_minor, value_minor, pins_cost_minor, rebalanced_from)
		VALUES ($1, $2::date, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18)`
	if _, err := change(ctx, tx, "match", run, m.ID, m.Day, m.Number, m.State, m.RunAt, m.RunBy, m.SupplyAsOf,
		m.Nodes, m.Arcs, m.Cost, m.SolveMicros, m.Version,
		m.Phases, m.Splits, m.GapMinor, m.ValueMinor, m.PinsCostMinor, m.From); err != nil {
		return Match{}, err
	}
	return m, m.addRows(ctx, tx)
}

func (m Match) addRows(ctx context.Context, tx pgx.Tx) error {
	line := func(value func(MatchLine) string) []string { return column(m.Lines, value) }
	if _, err := change(ctx, tx, "match lines", `
		INSERT INTO match_line (match_id, order_id, product_id, customer_id, ordered, matched, reason, explanation, binding, farms)
		SELECT $1, * FROM unnest($2::text[], $3::text[], $4::text[], $5::bigint[], $6::bigint[], $7::text[], $8::text[], $9::text[], $10::integer[])`,
		m.ID, line(func(l MatchLine) string { return l.Order }), line(func(l MatchLine) string { return l.Product }),
		line(func(l MatchLine) string { return l.Customer }),
		column(m.Lines, func(l MatchLine) int64 { return l.Ordered }), column(m.Lines, func(l MatchLine) int64 { return l.Matched }),
		line(func(l MatchLine) string { return l.Reason }), line(func(l MatchLine) string { return l.Explanation }),
		line(func(l MatchLine) string { return l.Binding }), column(m.Lines, func(l MatchLine) int32 { return l.Farms })); err != nil {
		return err
	}
	from := func(value func(Allocation) string) []string { return column(m.Allocations, value) }
	if _, err := change(ctx, tx, "allocations", `
		INSERT INTO match_allocation (match_id, order_id, product_id, pick_lot_id, customer_id, farm_id, room_id, packs, packed_product_id)
		SELECT $1, a.o, a.p, a.l, a.c, a.f, a.r, a.n, nullif(a.packed, a.p)
		FROM unnest($2::text[], $3::text[], $4::text[], $5::text[], $6::text[], $7::text[], $8::bigint[], $9::text[])
			AS a (o, p, l, c, f, r, n, packed)`,
		m.ID, from(func(a Allocation) string { return a.Order }), from(func(a Allocation) string { return a.Product }),
		from(func(a Allocation) string { return a.Lot }), from(func(a Allocation) string { return a.Customer }),
		from(func(a Allocation) string { return a.Farm }), from(func(a Allocation) string { return a.Room }),
		column(m.Allocations, func(a Allocation) int64 { return a.Packs }), from(func(a Allocation) string { return a.Packed })); err != nil {
		return err
	}
	if err := m.addProducts(ctx, tx); err != nil {
		return err
	}
	farm := func(value func(MatchFarm) int64) []int64 { return column(m.Farms, value) }
	_, err := change(ctx, tx, "match farms", `
		INSERT INTO match_farm (match_id, farm_id, offered, matched, season_offered, season_matched)
		SELECT $1, * FROM unnest($2::text[], $3::bigint[], $4::bigint[], $5::bigint[], $6::bigint[])`,
		m.ID, column(m.Farms, func(f MatchFarm) string { return f.Farm }),
		farm(func(f MatchFarm) int64 { return f.Offered }), farm(func(f MatchFarm) int64 { return f.Matched }),
		farm(func(f MatchFarm) int64 { return f.SeasonOffered }), farm(func(f MatchFarm) int64 { return f.SeasonMatched }))
	return err
}

func (m Match) addProducts(ctx context.Context, tx pgx.Tx) error {
	number := func(value func(MatchProduct) int64) []int64 { return column(m.Products, value) }
	_, err := change(ctx, tx, "match products", `
		INSERT INTO match_product (match_id, product_id, offered, ordered, matched, given, more_worth_minor, fewer_cost_minor,
			worth_minor_per_kg, left_over, likely, pooled_gain_grams, said)
		SELECT $1, * FROM unnest($2::text[], $3::bigint[], $4::bigint[], $5::bigint[], $6::bigint[], $7::bigint[], $8::bigint[],
			$9::bigint[], $10::text[], $11::bigint[], $12::bigint[], $13::bigint[])`,
		m.ID, column(m.Products, func(p MatchProduct) string { return p.Product }),
		number(func(p MatchProduct) int64 { return p.Offered }), number(func(p MatchProduct) int64 { return p.Ordered }),
		number(func(p MatchProduct) int64 { return p.Matched }), number(func(p MatchProduct) int64 { return p.Given }),
		number(func(p MatchProduct) int64 { return p.MoreWorthMinor }),
		column(m.Products, func(p MatchProduct) *int64 { return p.FewerCostMinor }),
		number(func(p MatchProduct) int64 { return p.WorthMinorPerKg }),
		column(m.Products, func(p MatchProduct) string { return p.LeftOver }),
		number(func(p MatchProduct) int64 { return p.Likely }), number(func(p MatchProduct) int64 { return p.PooledGainGrams }),
		number(func(p MatchProduct) int64 { return p.Said }))
	return err
}

// ConfirmMatch makes the match the confirmed one of its day in place of the one that is, if any.
// The caller holds the Book and has seen that it may.
func ConfirmMatch(ctx context.Context, tx pgx.Tx, m MatchHead, by string, at time.Time) error {
	if _, err := change(ctx, tx, "the match before", `
		UPDATE match_run SET state = 'replaced', version = version + 1
		WHERE delivery_date = $1::date AND state = 'confirmed'`, m.Day); err != nil {
		return err
	}
	if _, err := change(ctx, tx, "match", `
		UPDATE match_run SET state = 'confirmed', confirmed_at = $2, confirmed_by = $3, version = version + 1
		WHERE match_id = $1`, m.ID, at, by); err != nil {
		return err
	}
	_, err := change(ctx, tx, "the day of the match", `
		UPDATE match_day SET confirmations = confirmations + 1 WHERE delivery_date = $1::date`, m.Day)
	return err
}
