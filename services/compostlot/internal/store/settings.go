package store

import (
	"context"

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
	Change
}

const readHaulCosts = `SELECT yard_id, farm_id, minor_per_tonne, distance_km, version, changed_by, changed_at FROM haul_cost`

// HaulCosts returns all costs of haul by yard and farm.
func HaulCosts(ctx context.Context, db pg.DB) ([]HaulCost, error) {
	return collect[HaulCost](ctx, db, "read haul costs", readHaulCosts+` ORDER BY yard_id, farm_id`)
}

// LockHaulCosts returns those of the costs that are there, by yard and farm, and keeps others
// from changing them. Only yard and farm of the wanted count.
func LockHaulCosts(ctx context.Context, tx pgx.Tx, wanted []HaulCost) (map[[2]string]HaulCost, error) {
	yards, farms := make([]string, len(wanted)), make([]string, len(wanted))
	for i, c := range wanted {
		yards[i], farms[i] = c.YardID, c.FarmID
	}
	rows, err := collect[HaulCost](ctx, tx, "lock haul costs",
		readHaulCosts+` WHERE (yard_id, farm_id) IN (SELECT * FROM unnest($1::text[], $2::text[])) ORDER BY yard_id, farm_id FOR UPDATE`, yards, farms)
	out := make(map[[2]string]HaulCost, len(rows))
	for _, c := range rows {
		out[[2]string{c.YardID, c.FarmID}] = c
	}
	return out, err
}

// SaveHaulCosts adds costs of haul of version 1, and changes the others.
func SaveHaulCosts(ctx context.Context, tx pgx.Tx, costs []HaulCost) error {
	const (
		add    = `INSERT INTO haul_cost (yard_id, farm_id, minor_per_tonne, distance_km, version, changed_by, changed_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`
		change = `UPDATE haul_cost SET minor_per_tonne = $3, distance_km = $4, version = $5, changed_by = $6, changed_at = $7 WHERE yard_id = $1 AND farm_id = $2`
	)
	of := map[string][]HaulCost{}
	for _, c := range costs {
		sql := change
		if c.Version == 1 {
			sql = add
		}
		of[sql] = append(of[sql], c)
	}
	for _, sql := range []string{add, change} {
		err := each(ctx, tx, "save haul costs", sql, of[sql], func(c HaulCost) []any {
			return []any{c.YardID, c.FarmID, c.MinorPerTonne, c.DistanceKm, c.Version, c.By, c.At}
		})
		if err != nil {
			return err
		}
	}
	return nil
}
