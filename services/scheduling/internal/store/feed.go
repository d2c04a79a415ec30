package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Feed is a calendar at a private address.
type Feed struct {
	ID, Kind, TargetID string // Kind is farm, room or yard
	SecretHash         []byte // SHA-256 of the secret
	CreatedBy          string
	CreatedAt          time.Time
	RevokedAt          *time.Time
}

const feedColumns = `feed_id::text, kind, target_id, secret_hash, created_by, created_at, revoked_at`

// AddFeed writes a new feed.
func AddFeed(ctx context.Context, tx pgx.Tx, coopID string, f Feed) error {
	const sql = `INSERT INTO feed (coop_id, feed_id, kind, target_id, secret_hash, created_by, created_at) VALUES ($1, $2, $3, $4, $5, $6, $7)`
	if _, err := tx.Exec(ctx, sql, coopID, f.ID, f.Kind, f.TargetID, f.SecretHash, f.CreatedBy, f.CreatedAt); err != nil {
		return fmt.Errorf("write feed %s: %w", f.ID, err)
	}
	return nil
}

// ListFeeds reads all feeds, the newest first.
func ListFeeds(ctx context.Context, db pg.DB) ([]Feed, error) {
	rows, err := db.Query(ctx, `SELECT `+feedColumns+` FROM feed ORDER BY created_at DESC, feed_id`)
	if err != nil {
		return nil, fmt.Errorf("list feeds: %w", err)
	}
	feeds, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Feed])
	if err != nil {
		return nil, fmt.Errorf("list feeds: %w", err)
	}
	return feeds, nil
}

// FindFeed reads the feed of an id, or of the hash of its secret; ok is false where
// there is none.
func FindFeed(ctx context.Context, db pg.DB, feedID string, secretHash []byte) (f Feed, ok bool, err error) {
	const sql = `SELECT ` + feedColumns + ` FROM feed WHERE feed_id::text = $1 OR secret_hash = $2`
	rows, err := db.Query(ctx, sql, feedID, secretHash)
	if err != nil {
		return Feed{}, false, fmt.Errorf("find a feed: %w", err)
	}
	f, err = pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Feed])
	if errors.Is(err, pgx.ErrNoRows) {
		return Feed{}, false, nil
	}
	if err != nil {
		return Feed{}, false, fmt.Errorf("find a feed: %w", err)
	}
	return f, true, nil
}

// RevokeFeed ends a feed at an instant.
func RevokeFeed(ctx context.Context, tx pgx.Tx, feedID string, at time.Time) error {
	if _, err := tx.Exec(ctx, `UPDATE feed SET revoked_at = $2 WHERE feed_id::text = $1`, feedID, at); err != nil {
		return fmt.Errorf("revoke feed %s: %w", feedID, err)
	}
	return nil
}
