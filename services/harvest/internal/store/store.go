// Package store owns all SQL of the harvest service: its migrations, and one
// file of functions per noun. Every function works inside a transaction that
// the caller has scoped to one co-op (pg.InTx); the database adds the co-op to
// each row and shows no other co-op's.
package store

import (
	"context"
	"embed"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/platform/pg"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Schema is harvest's share of a database.
func Schema() pg.Schema { return pg.Schema{Service: "harvest", Migrations: migrations} }

// genealogyLock is the class of harvest's advisory locks on a co-op's family
// tree; the second half of the key is the co-op.
const genealogyLock = 0x68617276

// LockTree keeps the facts from which origins follow as they are until the
// transaction ends. Who opens pick lots or adds to them shares it; who changes
// crops, compost or deliveries takes it alone. Without it, a hold that comes
// while a new lot is being written would miss that lot.
func LockTree(ctx context.Context, tx pgx.Tx, alone bool) error {
	if _, err := tx.Exec(ctx, lockTree(alone), genealogyLock); err != nil {
		return fmt.Errorf("lock the family tree: %w", err)
	}
	return nil
}

func lockTree(alone bool) string {
	if alone {
		return `SELECT pg_advisory_xact_lock($1, hashtext(current_setting('breakshare.coop')))`
	}
	return `SELECT pg_advisory_xact_lock_shared($1, hashtext(current_setting('breakshare.coop')))`
}

// times turns days into what the driver knows as dates.
func times(days []day.Date) []time.Time {
	out := make([]time.Time, len(days))
	for i, d := range days {
		out[i] = d.Time()
	}
	return out
}

// column takes one field out of each row, for unnest.
func column[R, F any](rows []R, field func(R) F) []F {
	out := make([]F, len(rows))
	for i, r := range rows {
		out[i] = field(r)
	}
	return out
}

// dayInto scans a date column into a day.
type dayInto struct{ day *day.Date }

// Scan implements sql.Scanner.
func (d dayInto) Scan(src any) error {
	t, ok := src.(time.Time)
	if !ok {
		return fmt.Errorf("scan a date: got %T", src)
	}
	*d.day = day.Of(t)
	return nil
}

// nullDayInto scans a date column that may be NULL.
type nullDayInto struct{ day **day.Date }

// Scan implements sql.Scanner.
func (d nullDayInto) Scan(src any) error {
	if src == nil {
		*d.day = nil
		return nil
	}
	*d.day = new(day.Date)
	return dayInto{*d.day}.Scan(src)
}

// dateOf is a day as the driver knows it; NULL for none.
func dateOf(d *day.Date) *time.Time {
	if d == nil {
		return nil
	}
	t := d.Time()
	return &t
}
