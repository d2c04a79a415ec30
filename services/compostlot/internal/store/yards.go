package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Yard is a compost yard.
type Yard struct {
	ID, Name, Place string
	Change
}

const yardColumns = `yard_id, name, place, version, changed_by, changed_at`

// LockYards returns those of the yards that exist.
func LockYards(ctx context.Context, tx pgx.Tx, yardIDs []string) (map[string]Yard, error) {
	return byID(ctx, tx, "lock yards", func(y Yard) string { return y.ID },
		`SELECT `+yardColumns+` FROM yard WHERE yard_id = ANY($1) ORDER BY yard_id FOR UPDATE`, yardIDs)
}

// Yards returns those of the yards that exist.
func Yards(ctx context.Context, db pg.DB, yardIDs []string) (map[string]Yard, error) {
	return byID(ctx, db, "read yards", func(y Yard) string { return y.ID },
		`SELECT `+yardColumns+` FROM yard WHERE yard_id = ANY($1)`, yardIDs)
}

// ListYards returns all yards by id.
func ListYards(ctx context.Context, db pg.DB) ([]Yard, error) {
	return collect[Yard](ctx, db, "list yards", `SELECT `+yardColumns+` FROM yard ORDER BY yard_id`)
}

// InsertYards adds yards that do not exist.
func InsertYards(ctx context.Context, tx pgx.Tx, yards []Yard) error {
	const sql = `INSERT INTO yard (` + yardColumns + `) VALUES ($1, $2, $3, $4, $5, $6)`
	return each(ctx, tx, "insert yards", sql, yards, yardArgs)
}

// UpdateYards changes yards that exist.
func UpdateYards(ctx context.Context, tx pgx.Tx, yards []Yard) error {
	const sql = `UPDATE yard SET name = $2, place = $3, version = $4, changed_by = $5, changed_at = $6 WHERE yard_id = $1`
	return each(ctx, tx, "update yards", sql, yards, yardArgs)
}

func yardArgs(y Yard) []any { return []any{y.ID, y.Name, y.Place, y.Version, y.By, y.At} }
