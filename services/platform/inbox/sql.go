package inbox

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// lockCursor returns the sequence of the last event taken from source, 0 when
// there was none, and holds the cursor's row until the transaction ends: of
// two consumers with events of one co-op, the second waits and then sees what
// the first did.
func lockCursor(ctx context.Context, tx pgx.Tx, coopID, source string) (int64, error) {
	var last int64
	read := func() error {
		return tx.QueryRow(ctx, `SELECT last_sequence FROM event_cursor WHERE coop_id = $1 AND source = $2 FOR UPDATE`, coopID, source).Scan(&last)
	}
	err := read()
	if errors.Is(err, pgx.ErrNoRows) {
		if _, err = tx.Exec(ctx, `INSERT INTO event_cursor (coop_id, source, last_sequence) VALUES ($1, $2, 0) ON CONFLICT DO NOTHING`, coopID, source); err == nil {
			err = read()
		}
	}
	if err != nil {
		return 0, fmt.Errorf("lock the cursor of %s: %w", source, err)
	}
	return last, nil
}

// hasRow reports whether the inbox knows the event.
func hasRow(ctx context.Context, tx pgx.Tx, m Message) (bool, error) {
	var known bool
	if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM inbox WHERE coop_id = $1 AND event_id = $2)`, m.CoopID, m.ID).Scan(&known); err != nil {
		return false, fmt.Errorf("look for event %s in the inbox: %w", m.ID, err)
	}
	return known, nil
}

// record writes what became of the event and moves the cursor, never back.
func record(ctx context.Context, tx pgx.Tx, m Message, o outcome, reason string) error {
	_, err := tx.Exec(ctx, `
WITH moved AS (
	UPDATE event_cursor SET last_sequence = greatest(last_sequence, $4)
	WHERE coop_id = $1 AND source = $3
)
INSERT INTO inbox (coop_id, event_id, source, sequence, outcome, reason, type)
VALUES ($1, $2, $3, $4, $5, nullif($6, ''), CASE WHEN $5 = 'dead' THEN $7 END)`, m.CoopID, m.ID, m.Source, m.Sequence, string(o), reason, m.Type)
	if err != nil {
		return fmt.Errorf("record event %s: %w", m.ID, err)
	}
	return nil
}

// moveCursor passes over sequences that nobody has any more.
func moveCursor(ctx context.Context, tx pgx.Tx, coopID, source string, to int64) error {
	_, err := tx.Exec(ctx, `UPDATE event_cursor SET last_sequence = greatest(last_sequence, $3) WHERE coop_id = $1 AND source = $2`, coopID, source, to)
	if err != nil {
		return fmt.Errorf("move the cursor of %s to %d: %w", source, to, err)
	}
	return nil
}
