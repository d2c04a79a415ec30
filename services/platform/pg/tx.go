package pg

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
)

const (
	maxAttempts = 6                      // of one transaction
	firstPause  = 5 * time.Millisecond   // before the second attempt, doubled for each further
	longPause   = 200 * time.Millisecond // at most
)

// ErrNested is returned when a transaction is begun inside another on the same
// pool: the inner one would wait for a connection that the outer one holds.
var ErrNested = errors.New("a transaction on the same pool is already open: use its tx")

// InTx runs fn in a transaction that sees and writes rows of one co-op only.
//
// fn must use tx for all its SQL and keep its effects in the database: after a
// serialization failure (40001) or deadlock (40P01) the transaction is rolled
// back and fn runs again, at most 6 times in all. An error of fn rolls back and
// is returned as it is. The isolation level is PostgreSQL's default, read
// committed.
func InTx(ctx context.Context, pool *pgxpool.Pool, coopID string, fn func(ctx context.Context, tx pgx.Tx) error) error {
	return scoped(ctx, pool, coopID, "begin", fn)
}

// InReadTx is InTx for reading: all statements see one snapshot, and writing
// fails.
func InReadTx(ctx context.Context, pool *pgxpool.Pool, coopID string, fn func(ctx context.Context, tx pgx.Tx) error) error {
	return scoped(ctx, pool, coopID, "begin isolation level repeatable read read only", fn)
}

type openTx struct{ pool *pgxpool.Pool }

func scoped(ctx context.Context, pool *pgxpool.Pool, coopID, begin string, fn func(context.Context, pgx.Tx) error) error {
	coop, err := uuid.Parse(coopID)
	if err != nil {
		return fmt.Errorf("begin transaction: co-op id %q is not a UUID", coopID)
	}
	if ctx.Value(openTx{pool}) != nil {
		return fmt.Errorf("begin transaction: %w", ErrNested)
	}
	ctx = context.WithValue(ctx, openTx{pool}, true)
	// One round trip begins and scopes. The UUID's own text cannot hold SQL.
	opts := pgx.TxOptions{BeginQuery: begin + "; select set_config('breakshare.coop', '" + coop.String() + "', true)"}
	for attempt := 1; ; attempt++ {
		err := once(ctx, pool, opts, fn)
		if err == nil || !retryable(err) {
			return err
		}
		if attempt == maxAttempts {
			return fmt.Errorf("transaction given up after %d attempts: %w", attempt, err)
		}
		if werr := pause(ctx, attempt); werr != nil {
			return fmt.Errorf("%w while waiting to repeat a transaction: %w", werr, err)
		}
	}
}

func once(ctx context.Context, pool *pgxpool.Pool, opts pgx.TxOptions, fn func(context.Context, pgx.Tx) error) error {
	tx, err := pool.BeginTx(ctx, opts)
	if err != nil {
		return fmt.Errorf("begin transaction: %w", err)
	}
	defer func() {
		// Also after a panic of fn, and with time of its own when ctx is over.
		// After a commit this does nothing.
		rctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		defer cancel()
		_ = tx.Rollback(rctx)
	}()
	if err := fn(ctx, tx); err != nil {
		return err
	}
	if err := tx.Commit(ctx); err != nil {
		return fmt.Errorf("commit transaction: %w", err)
	}
	return nil
}

func retryable(err error) bool {
	var pe *pgconn.PgError
	return errors.As(err, &pe) && (pe.Code == "40001" || pe.Code == "40P01")
}

// pause waits a random time, so that those who met once do not meet again.
func pause(ctx context.Context, attempt int) error {
	most := min(firstPause<<(attempt-1), longPause)
	t := time.NewTimer(most/2 + rand.N(most/2))
	defer t.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-t.C:
		return nil
	}
}
