package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Farm is a member of the co-op.
type Farm struct {
	ID, Name, Place     string
	MemberShares        int32
	CarryCostMinorPerKg int64
	Change
}

const farmColumns = `farm_id, name, place, member_shares, carry_cost_minor_per_kg, version, changed_by, changed_at`

func scanFarm(row pgx.CollectableRow) (Farm, error) {
	var f Farm
	err := row.Scan(&f.ID, &f.Name, &f.Place, &f.MemberShares, &f.CarryCostMinorPerKg, &f.Version, &f.By, &f.At)
	return f, err
}

// ListFarms reads all farms, or the one of the id where it is not empty.
func ListFarms(ctx context.Context, db pg.DB, farmID string) ([]Farm, error) {
	const sql = `SELECT ` + farmColumns + ` FROM farm WHERE $1 = '' OR farm_id = $1 ORDER BY farm_id COLLATE "C"`
	rows, err := db.Query(ctx, sql, farmID)
	if err != nil {
		return nil, fmt.Errorf("list farms: %w", err)
	}
	farms, err := pgx.CollectRows(rows, scanFarm)
	if err != nil {
		return nil, fmt.Errorf("list farms: %w", err)
	}
	return farms, nil
}

// LockFarms reads those of the farms that are there, and keeps others from
// changing them until the transaction ends.
func LockFarms(ctx context.Context, tx pgx.Tx, farmIDs []string) (map[string]Farm, error) {
	const sql = `SELECT ` + farmColumns + ` FROM farm WHERE farm_id = ANY($1) ORDER BY farm_id FOR UPDATE`
	rows, err := tx.Query(ctx, sql, farmIDs)
	if err != nil {
		return nil, fmt.Errorf("lock farms: %w", err)
	}
	farms, err := pgx.CollectRows(rows, scanFarm)
	if err != nil {
		return nil, fmt.Errorf("lock farms: %w", err)
	}
	return byKey(farms, func(f Farm) string { return f.ID }), nil
}

// PutFarm writes the farm at its version. It reports false, and writes nothing,
// where the version before is not the one stored.
func PutFarm(ctx context.Context, tx pgx.Tx, coopID string, f Farm) (bool, error) {
	const sql = `
		INSERT INTO farm AS old (coop_id, ` + farmColumns + `)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
		ON CONFLICT (coop_id, farm_id) DO UPDATE SET
			name = excluded.name, place = excluded.place, member_shares = excluded.member_shares,
			carry_cost_minor_per_kg = excluded.carry_cost_minor_per_kg,
			version = excluded.version, changed_by = excluded.changed_by, changed_at = excluded.changed_at
		WHERE old.version = excluded.version - 1`
	tag, err := tx.Exec(ctx, sql, coopID, f.ID, f.Name, f.Place, f.MemberShares, f.CarryCostMinorPerKg, f.Version, f.By, f.At)
	if err != nil {
		return false, fmt.Errorf("write farm %q: %w", f.ID, err)
	}
	return tag.RowsAffected() == 1, nil
}

func byKey[K comparable, V any](values []V, key func(V) K) map[K]V {
	out := make(map[K]V, len(values))
	for _, v := range values {
		out[key(v)] = v
	}
	return out
}
