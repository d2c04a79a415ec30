package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Expected is what a grower expects of one pick lot.
type Expected struct {
	Lot, Farm, Room, Product, Day    string
	LowGrams, LikelyGrams, HighGrams int64
	Version                          int64
	PushedBy                         string
	PushedAt                         time.Time
	// Used is what harvest uses in its place; nil where it is used as it is.
	Used *Used
}

// Used is what harvest makes of a push.
type Used struct {
	LowGrams, LikelyGrams, HighGrams int64
	At                               time.Time
}

// KeepExpected stores the expectation where its version is newer than what is stored, or the same
// and what is used of it newer. told is when the owner told of it.
func KeepExpected(ctx context.Context, tx pgx.Tx, e Expected, told time.Time) error {
	const sql = `
		INSERT INTO supply (pick_lot_id, farm_id, room_id, product_id, pick_date, low_grams, likely_grams, high_grams,
			push_version, pushed_by, pushed_at, told_at, used_low_grams, used_likely_grams, used_high_grams, used_at)
		VALUES ($1, $2, $3, $4, $5::date, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)
		ON CONFLICT (coop_id, pick_lot_id) DO UPDATE SET
			low_grams = EXCLUDED.low_grams, likely_grams = EXCLUDED.likely_grams, high_grams = EXCLUDED.high_grams,
			push_version = EXCLUDED.push_version, pushed_by = EXCLUDED.pushed_by, pushed_at = EXCLUDED.pushed_at,
			used_low_grams = EXCLUDED.used_low_grams, used_likely_grams = EXCLUDED.used_likely_grams,
			used_high_grams = EXCLUDED.used_high_grams, used_at = EXCLUDED.used_at,
			told_at = greatest(supply.told_at, EXCLUDED.told_at)
		WHERE (supply.push_version, coalesce(supply.used_at, '-infinity')) < (EXCLUDED.push_version, coalesce(EXCLUDED.used_at, '-infinity'))`
	var low, likely, high *int64
	var at *time.Time
	if u := e.Used; u != nil {
		low, likely, high, at = &u.LowGrams, &u.LikelyGrams, &u.HighGrams, &u.At
	}
	_, err := change(ctx, tx, "expected supply", sql, e.Lot, e.Farm, e.Room, e.Product, e.Day,
		e.LowGrams, e.LikelyGrams, e.HighGrams, e.Version, e.PushedBy, e.PushedAt, told, low, likely, high, at)
	return err
}

// PickLot is what is known of a pick lot itself.
type PickLot struct {
	Lot, Farm, Room, Product, Day string
	// NetGrams is what is left of what was picked, once something was Picked.
	NetGrams   int64
	Picked     bool
	Held       bool
	HoldReason string
	Version    int64
	// StoreCelsius is how warm it is held, and KeepsUntil the last day on which it keeps at that;
	// nil and empty where nobody knows.
	StoreCelsius *float64
	KeepsUntil   string
}

// KeepPickLot stores the lot where its version is newer than what is stored.
func KeepPickLot(ctx context.Context, tx pgx.Tx, l PickLot, told time.Time) error {
	const sql = `
		INSERT INTO supply (pick_lot_id, farm_id, room_id, product_id, pick_date, picked_grams, held, hold_reason, lot_version, told_at, store_celsius, keeps_until)
		VALUES ($1, $2, $3, $4, $5::date, CASE WHEN $11 THEN $6::bigint END, $7, $8, $9, $10, $12, nullif($13, '')::date)
		ON CONFLICT (coop_id, pick_lot_id) DO UPDATE SET
			picked_grams = EXCLUDED.picked_grams, held = EXCLUDED.held, hold_reason = EXCLUDED.hold_reason,
			lot_version = EXCLUDED.lot_version, store_celsius = EXCLUDED.store_celsius, keeps_until = EXCLUDED.keeps_until,
			told_at = greatest(supply.told_at, EXCLUDED.told_at)
		WHERE supply.lot_version < EXCLUDED.lot_version`
	_, err := change(ctx, tx, "pick lot", sql, l.Lot, l.Farm, l.Room, l.Product, l.Day,
		l.NetGrams, l.Held, l.HoldReason, l.Version, told, l.Picked, l.StoreCelsius, l.KeepsUntil)
	return err
}

// Farm is a farm as scheduling told of it.
type Farm struct {
	ID, Name            string
	CarryCostMinorPerKg int64
	MemberShares        int64
	Version             int64
}

// KeepFarm stores the farm where its version is newer than what is stored.
func KeepFarm(ctx context.Context, tx pgx.Tx, f Farm) error {
	const sql = `
		INSERT INTO farm (farm_id, name, carry_cost_minor_per_kg, member_shares, version) VALUES ($1, $2, $3, nullif($4::bigint, 0), $5)
		ON CONFLICT (coop_id, farm_id) DO UPDATE SET
			name = EXCLUDED.name, carry_cost_minor_per_kg = EXCLUDED.carry_cost_minor_per_kg,
			member_shares = EXCLUDED.member_shares, version = EXCLUDED.version
		WHERE farm.version < EXCLUDED.version`
	_, err := change(ctx, tx, "farm", sql, f.ID, f.Name, f.CarryCostMinorPerKg, f.MemberShares, f.Version)
	return err
}

// Coop is the co-op's own settings as scheduling told of them.
type Coop struct {
	Name, TimeZone, CurrencyCode string
	Version                      int64
}

// KeepCoop stores the settings where their version is newer than what is stored.
func KeepCoop(ctx context.Context, tx pgx.Tx, c Coop) error {
	const sql = `
		INSERT INTO coop (name, time_zone, currency_code, version) VALUES ($1, $2, $3, $4)
		ON CONFLICT (coop_id) DO UPDATE SET
			name = EXCLUDED.name, time_zone = EXCLUDED.time_zone, currency_code = EXCLUDED.currency_code, version = EXCLUDED.version
		WHERE coop.version < EXCLUDED.version`
	_, err := change(ctx, tx, "co-op", sql, c.Name, c.TimeZone, c.CurrencyCode, c.Version)
	return err
}

// CurrencyCode returns the code of the co-op's currency, ISO 4217; empty where it is not known.
func CurrencyCode(ctx context.Context, db pg.DB) (string, error) {
	all, err := collect[struct{ Code string }](ctx, db, "co-op", `SELECT currency_code FROM coop`)
	if err != nil || len(all) == 0 {
		return "", err
	}
	return all[0].Code, nil
}

// MemberShares returns the member shares of the farms that are known.
func MemberShares(ctx context.Context, db pg.DB) (map[string]int64, error) {
	type row struct {
		Farm   string
		Shares int64
	}
	all, err := collect[row](ctx, db, "farms", `SELECT farm_id, member_shares FROM farm WHERE member_shares IS NOT NULL`)
	shares := make(map[string]int64, len(all))
	for _, r := range all {
		shares[r.Farm] = r.Shares
	}
	return shares, err
}
