// Package store owns all SQL of the order service: customers, products, orders, the supply as
// other services told of it, matches, dispatches and deliveries. Every function works inside a
// transaction that is scoped to one co-op; row-level security keeps the others' rows out, and
// fills coop_id in. Days are ISO 8601 dates.
package store

import (
	"context"
	"embed"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/saving"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Schema is what the service keeps in PostgreSQL.
func Schema() pg.Schema { return pg.Schema{Service: "order", Migrations: migrations} }

// Change says which version of a thing is stored, and who made it when.
type Change = saving.Change

// A Lock is held by one transaction of a co-op at a time.
type Lock string

// The locks. A transaction takes at most one.
const (
	Catalogue Lock = "catalogue" // customers and products
	Book      Lock = "book"      // orders, matches, dispatches and deliveries
)

// Take waits for the lock and holds it until the transaction ends. What is read after it is
// what the one before committed.
func Take(ctx context.Context, tx pgx.Tx, lock Lock) error {
	const sql = `SELECT pg_advisory_xact_lock(hashtextextended('breakshare order ' || $1 || ' ' || current_setting('breakshare.coop'), 0))`
	if _, err := tx.Exec(ctx, sql, string(lock)); err != nil {
		return fmt.Errorf("take the lock of the %s: %w", lock, err)
	}
	return nil
}

// collect runs a query and reads all its rows into T, column by column.
func collect[T any](ctx context.Context, db pg.DB, what, sql string, args ...any) ([]T, error) {
	rows, err := db.Query(ctx, sql, args...)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", what, err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowToStructByPos[T])
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", what, err)
	}
	return all, nil
}

// change runs a statement that writes and returns the number of rows.
func change(ctx context.Context, db pg.DB, what, sql string, args ...any) (int64, error) {
	tag, err := db.Exec(ctx, sql, args...)
	if err != nil {
		return 0, fmt.Errorf("write %s: %w", what, err)
	}
	return tag.RowsAffected(), nil
}

// column takes one value out of each element, for an array parameter.
func column[T, V any](all []T, value func(T) V) []V {
	values := make([]V, len(all))
	for i, each := range all {
		values[i] = value(each)
	}
	return values
}
