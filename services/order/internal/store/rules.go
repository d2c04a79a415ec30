package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Settings are a co-op's rules for its matches.
type Settings struct {
	// JSON of the rules.
	JSON string
	Change
}

// MatchSettings returns the rules; version 0 and no JSON where none were saved.
func MatchSettings(ctx context.Context, db pg.DB) (Settings, error) {
	all, err := collect[Settings](ctx, db, "match settings", `SELECT settings, version, changed_by, changed_at FROM match_settings`)
	if err != nil || len(all) == 0 {
		return Settings{}, err
	}
	return all[0], nil
}

// SaveMatchSettings replaces the rules.
func SaveMatchSettings(ctx context.Context, tx pgx.Tx, s Settings) error {
	_, err := change(ctx, tx, "match settings", `
		INSERT INTO match_settings (settings, version, changed_by, changed_at) VALUES ($1, $2, $3, $4)
		ON CONFLICT (coop_id) DO UPDATE SET
			settings = EXCLUDED.settings, version = EXCLUDED.version, changed_by = EXCLUDED.changed_by, changed_at = EXCLUDED.changed_at`,
		s.JSON, s.Version, s.By, s.At)
	return err
}

// Pin is one decision made by hand.
type Pin struct {
	ID, Day                   string
	Kind                      int32 // breakshare.order.v1.PinKind
	Order, Product, Farm, Lot string
	Packs                     int64
	Class                     int32
	Reason, By                string
	At                        time.Time
}

const selectPins = `
	SELECT pin_id, delivery_date::text, kind, order_id, product_id, farm_id, pick_lot_id, packs, priority_class, reason, made_by, made_at
	FROM pin`

// PinsOfDay returns the pins of a day by id.
func PinsOfDay(ctx context.Context, db pg.DB, day string) ([]Pin, error) {
	return collect[Pin](ctx, db, "pins", selectPins+` WHERE delivery_date = $1::date ORDER BY pin_id`, day)
}

// PinByID returns one pin; found is false where there is none.
func PinByID(ctx context.Context, db pg.DB, id string) (p Pin, found bool, err error) {
	all, err := collect[Pin](ctx, db, "pins", selectPins+` WHERE pin_id = $1`, id)
	if err != nil || len(all) == 0 {
		return Pin{}, false, err
	}
	return all[0], true, nil
}

// AddPin stores a new pin.
func AddPin(ctx context.Context, tx pgx.Tx, p Pin) error {
	_, err := change(ctx, tx, "pin", `
		INSERT INTO pin (pin_id, delivery_date, kind, order_id, product_id, farm_id, pick_lot_id, packs, priority_class, reason, made_by, made_at)
		VALUES ($1, $2::date, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`,
		p.ID, p.Day, p.Kind, p.Order, p.Product, p.Farm, p.Lot, p.Packs, p.Class, p.Reason, p.By, p.At)
	return err
}

// RemovePin deletes a pin.
func RemovePin(ctx context.Context, tx pgx.Tx, id string) error {
	_, err := change(ctx, tx, "pin", `DELETE FROM pin WHERE pin_id = $1`, id)
	return err
}

// Season returns what each farm offered and had matched in the confirmed matches from a day on
// and before another, by farm.
func Season(ctx context.Context, db pg.DB, from, before string) ([]MatchFarm, error) {
	return collect[MatchFarm](ctx, db, "season", `
		SELECT f.farm_id, sum(f.offered)::bigint, sum(f.matched)::bigint, 0::bigint, 0::bigint
		FROM match_run r JOIN match_farm f USING (coop_id, match_id)
		WHERE r.state = 'confirmed' AND r.delivery_date >= $1::date AND r.delivery_date < $2::date
		GROUP BY 1 ORDER BY 1`, from, before)
}
