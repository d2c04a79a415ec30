package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// ReleaseRules is one version of what lots of a phase must prove. Version 0 is what every
// co-op begins with.
type ReleaseRules struct {
	Phase int16 // 1 or 2; 2 stands for 2 and 3
	Change
}

// ReleaseCriterion is a criterion of the catalogue with the figures that differ; nil for the
// catalogue's.
type ReleaseCriterion struct {
	Phase              int16
	Version            int64
	Number             int32
	ID                 string
	Low, High, Seconds *int64
	MinProbes          *int32
	Source             string // empty where no figure differs
}

// RulesAt returns the rules of a phase in force at an instant; ok is false where there were
// none yet.
func RulesAt(ctx context.Context, db pg.DB, phase int16, at time.Time) (ReleaseRules, []ReleaseCriterion, bool, error) {
	rows, err := collect[ReleaseRules](ctx, db, "read release rules", `SELECT phase, version, changed_by, changed_at FROM release_rules
		WHERE phase = $1 AND changed_at <= $2 ORDER BY version DESC LIMIT 1`, phase, at)
	if err != nil || len(rows) == 0 {
		return ReleaseRules{Phase: phase}, nil, false, err
	}
	criteria, err := collect[ReleaseCriterion](ctx, db, "read release criteria",
		`SELECT phase, version, number, criterion_id, low, high, seconds, min_probes, COALESCE(source, '') FROM release_criterion
		WHERE phase = $1 AND version = $2 ORDER BY number`, phase, rows[0].Version)
	return rows[0], criteria, true, err
}

// AddRules adds a version of the rules.
func AddRules(ctx context.Context, tx pgx.Tx, r ReleaseRules, criteria []ReleaseCriterion) error {
	err := each(ctx, tx, "add release rules", `INSERT INTO release_rules (phase, version, changed_by, changed_at) VALUES ($1, $2, $3, $4)`, []ReleaseRules{r},
		func(r ReleaseRules) []any { return []any{r.Phase, r.Version, r.By, r.At} })
	if err != nil {
		return err
	}
	const sql = `INSERT INTO release_criterion (phase, version, number, criterion_id, low, high, seconds, min_probes, source)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, NULLIF($9, ''))`
	return each(ctx, tx, "add release criteria", sql, criteria, func(c ReleaseCriterion) []any {
		return []any{c.Phase, c.Version, c.Number, c.ID, c.Low, c.High, c.Seconds, c.MinProbes, c.Source}
	})
}
