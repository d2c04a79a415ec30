package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Words of the share settings.
const (
	RuleSatisfiedShare = "satisfied_share"
	RuleEqualAwards    = "equal_awards"
	WeightsShares      = "member_shares"
	WeightsEqual       = "equal"
)

// ShareSettings is how a co-op shares out. Version 0 is what every co-op begins with.
type ShareSettings struct {
	Rule, Weights       string
	HaulMinorPerTonneKm int64
	Change
}

// FindShareSettings returns the co-op's settings, or those that every co-op begins with.
func FindShareSettings(ctx context.Context, db pg.DB, lock bool) (ShareSettings, error) {
	sql := `SELECT rule, weights, haul_minor_per_tonne_km, version, changed_by, changed_at FROM share_settings`
	if lock {
		sql += ` FOR UPDATE`
	}
	rows, err := collect[ShareSettings](ctx, db, "read share settings", sql)
	if err != nil || len(rows) == 0 {
		return ShareSettings{Rule: RuleSatisfiedShare, Weights: WeightsShares}, err
	}
	return rows[0], nil
}

// SaveShareSettings writes the settings.
func SaveShareSettings(ctx context.Context, tx pgx.Tx, s ShareSettings) error {
	sql := `INSERT INTO share_settings (rule, weights, haul_minor_per_tonne_km, version, changed_by, changed_at) VALUES ($1, $2, $3, $4, $5, $6)`
	if s.Version > 1 {
		sql = `UPDATE share_settings SET rule = $1, weights = $2, haul_minor_per_tonne_km = $3, version = $4, changed_by = $5, changed_at = $6`
	}
	return each(ctx, tx, "save share settings", sql, []ShareSettings{s}, func(s ShareSettings) []any {
		return []any{s.Rule, s.Weights, s.HaulMinorPerTonneKm, s.Version, s.By, s.At}
	})
}

// HaulCost is the cost of a tonne from a yard to a farm, or the distance; one of them is nil.
type HaulCost struct {
	YardID, FarmID string
	MinorPerTonne  *int64
	DistanceKm     *int32
}

// HaulCosts returns all costs of haul by yard and farm.
func HaulCosts(ctx context.Context, db pg.DB) ([]HaulCost, error) {
	return collect[HaulCost](ctx, db, "read haul costs", `SELECT yard_id, farm_id, minor_per_tonne, distance_km FROM haul_cost ORDER BY yard_id, farm_id`)
}

// SaveHaulCosts adds or changes costs of haul.
func SaveHaulCosts(ctx context.Context, tx pgx.Tx, costs []HaulCost, by string, at time.Time) error {
	const sql = `INSERT INTO haul_cost (yard_id, farm_id, minor_per_tonne, distance_km, changed_by, changed_at) VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (coop_id, yard_id, farm_id) DO UPDATE SET minor_per_tonne = excluded.minor_per_tonne,
			distance_km = excluded.distance_km, changed_by = excluded.changed_by, changed_at = excluded.changed_at`
	return each(ctx, tx, "save haul costs", sql, costs, func(c HaulCost) []any {
		return []any{c.YardID, c.FarmID, c.MinorPerTonne, c.DistanceKm, by, at}
	})
}
