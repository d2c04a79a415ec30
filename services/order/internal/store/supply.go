package store

import (
	"context"
	"time"

	"breakshare.example/services/platform/pg"
)

// KeptInView is for how many days after the end of its shelf life a lot is still named as past
// it; after that it is taken as gone.
const KeptInView = 7

// Lot is what a pick lot could give on a day.
type Lot struct {
	ID, Farm, Room, Product string
	// PickDay counts from 1970-01-01.
	PickDay int
	// Grams that count for the day: low, likely and high, which are one where they were weighed.
	LowGrams, Grams, HighGrams int64
	// SaidGrams is what the grower said is likely, where it was not weighed and another figure counts.
	SaidGrams int64
	Held      bool
	// OtherDays is the number of packs that confirmed matches of other days have, or that left
	// for other days, whichever is more on each.
	OtherDays int64
	// CarryCostMinorPerKg is nil where the farm is not known.
	CarryCostMinorPerKg *int64
	ToldAt              time.Time
	// KeepsUntil is the last day on which it keeps at the temperature that it is held at, from
	// 1970-01-01; nil where that is not known.
	KeepsUntil *int
}

// LotsForDay returns the lots that could supply a day of delivery, by code. What counts of a lot
// is what was picked, as soon as anything was; before that, and only on its own day, what is
// most likely by what harvest uses, or where that says nothing by what the grower said: what was expected on an earlier day and never picked is not there. Lots of which
// packs left for the day, as the caller says, are among them in any case.
//
// Lots of products that are not in the catalogue, and of later days, are left out.
func LotsForDay(ctx context.Context, db pg.DB, day string, left []string) ([]Lot, error) {
	const sql = `
		WITH taken AS (
			SELECT t.pick_lot_id, t.delivery_date, greatest(sum(t.allocated), sum(t.sent)) AS packs
			FROM (
				SELECT a.pick_lot_id, r.delivery_date, a.packs AS allocated, 0 AS sent
				FROM match_run r JOIN match_allocation a USING (coop_id, match_id)
				WHERE r.state = 'confirmed' AND r.delivery_date <> $1::date AND r.delivery_date >= $1::date - 60
				UNION ALL
				SELECT l.pick_lot_id, d.delivery_date, 0, l.packs
				FROM dispatch d JOIN dispatch_line l USING (coop_id, dispatch_id)
				WHERE d.delivery_date <> $1::date AND d.delivery_date >= $1::date - 60
			) t
			GROUP BY 1, 2
		), other AS (
			SELECT pick_lot_id, sum(packs)::bigint AS packs FROM taken GROUP BY 1
		)
		SELECT s.pick_lot_id, s.farm_id, s.room_id, s.product_id, s.pick_date - date '1970-01-01',
			coalesce(s.picked_grams, s.used_low_grams, s.low_grams), coalesce(s.picked_grams, s.used_likely_grams, s.likely_grams),
			coalesce(s.picked_grams, s.used_high_grams, s.high_grams), coalesce(s.picked_grams, s.likely_grams),
			s.held, coalesce(o.packs, 0), f.carry_cost_minor_per_kg, s.told_at, s.keeps_until - date '1970-01-01'
		FROM supply s
		JOIN product p USING (coop_id, product_id)
		LEFT JOIN farm f USING (coop_id, farm_id)
		LEFT JOIN other o USING (pick_lot_id)
		WHERE s.pick_date <= $1::date
			AND (s.pick_date >= $1::date - (p.shelf_life_days + $2::integer) OR s.pick_lot_id = ANY($3))
			AND (s.picked_grams IS NOT NULL OR (s.pick_date = $1::date AND s.likely_grams IS NOT NULL))
		ORDER BY s.pick_lot_id`
	return collect[Lot](ctx, db, "supply", sql, day, KeptInView, left)
}

// Stock is what there is of a picked lot.
type Stock struct {
	Lot string
	// PickedGrams is nil until something was picked.
	PickedGrams *int64
	Held        bool
	HoldReason  string
	// Sent is the number of packs that left, for any day.
	Sent int64
}

// StockOf returns the stock of the lots that are known.
func StockOf(ctx context.Context, db pg.DB, lots []string) (map[string]Stock, error) {
	const sql = `
		SELECT s.pick_lot_id, s.picked_grams, s.held, s.hold_reason,
			(SELECT coalesce(sum(l.packs), 0)::bigint FROM dispatch_line l WHERE l.pick_lot_id = s.pick_lot_id)
		FROM supply s WHERE s.pick_lot_id = ANY($1)`
	all, err := collect[Stock](ctx, db, "stock", sql, lots)
	return keyed(all, func(s Stock) string { return s.Lot }), err
}
