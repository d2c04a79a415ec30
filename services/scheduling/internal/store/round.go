package store

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
)

// nobody is a co-op id that no co-op has.
const nobody = "00000000-0000-0000-0000-000000000000"

// CoopsWithCrops lists the ids of all co-ops that have crops. It is the one
// question that goes beyond a co-op.
func CoopsWithCrops(ctx context.Context, pool *pgxpool.Pool) (ids []string, err error) {
	err = pg.InReadTx(ctx, pool, nobody, func(ctx context.Context, tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `SELECT set_config('breakshare.every_coop', 'on', true)`); err != nil {
			return err
		}
		rows, err := tx.Query(ctx, `SELECT coop_id::text FROM daily_round ORDER BY coop_id`)
		if err != nil {
			return err
		}
		ids, err = pgx.CollectRows(rows, pgx.RowTo[string])
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("list the co-ops with crops: %w", err)
	}
	return ids, nil
}

// JoinRound has the co-op's overdue crops moved each day after the one given.
func JoinRound(ctx context.Context, tx pgx.Tx, coopID string, today calendar.Date) error {
	const sql = `INSERT INTO daily_round (coop_id, shifted_on) VALUES ($1, ` + epoch + ` + $2::integer) ON CONFLICT (coop_id) DO NOTHING`
	if _, err := tx.Exec(ctx, sql, coopID, today); err != nil {
		return fmt.Errorf("join the daily round: %w", err)
	}
	return nil
}

// BeginRound tells whether the overdue crops are still to be moved today, and if
// so notes that they were. Of two at once only one is told so.
func BeginRound(ctx context.Context, tx pgx.Tx, today calendar.Date) (due bool, err error) {
	const sql = `
		UPDATE daily_round SET shifted_on = ` + epoch + ` + $1::integer
		WHERE shifted_on IS NULL OR shifted_on < ` + epoch + ` + $1::integer
		RETURNING true`
	err = tx.QueryRow(ctx, sql, today).Scan(&due)
	if errors.Is(err, pgx.ErrNoRows) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("begin the daily round: %w", err)
	}
	return due, nil
}
