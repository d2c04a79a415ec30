// Package store owns all SQL of the compostlot service: yards, slots, requests
// and rounds, lots with their readings, and what it keeps of scheduling's farms,
// rooms and crops.
//
// Every function works inside a transaction of package pg, which is scoped to one
// co-op: the column coop_id is filled in by its default and checked by row-level
// security, so no statement names it. Functions called Lock… hold the rows until
// the transaction ends, always in the order of their ids, and slots before
// requests, so that transactions wait for each other and do not deadlock.
package store

import (
	"context"
	"embed"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Schema is the service's schema with its migrations.
func Schema() pg.Schema { return pg.Schema{Service: "compostlot", Migrations: migrations} }

// Change says which version a row is and who made it when.
type Change struct {
	Version int64
	By      string
	At      time.Time
}

// Next is the version after c, made by somebody at an instant.
func (c Change) Next(by string, at time.Time) Change {
	return Change{Version: c.Version + 1, By: by, At: at}
}

// collect runs a query and returns its rows as values of T, columns by position.
func collect[T any](ctx context.Context, db pg.DB, what, sql string, args ...any) ([]T, error) {
	rows, err := db.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	out, err := pgx.CollectRows(rows, pgx.RowToStructByPos[T])
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	return out, nil
}

// byID is collect with the rows under their ids.
func byID[T any](ctx context.Context, db pg.DB, what string, id func(T) string, sql string, args ...any) (map[string]T, error) {
	rows, err := collect[T](ctx, db, what, sql, args...)
	if err != nil {
		return nil, err
	}
	out := make(map[string]T, len(rows))
	for _, r := range rows {
		out[id(r)] = r
	}
	return out, nil
}

// each runs one statement for every item, in one round trip.
func each[T any](ctx context.Context, tx pgx.Tx, what, sql string, items []T, args func(T) []any) error {
	if len(items) == 0 {
		return nil
	}
	batch := &pgx.Batch{}
	for _, item := range items {
		batch.Queue(sql, args(item)...)
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return nil
}
