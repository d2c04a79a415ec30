package intake

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Refusal is a message that could not be used, and why.
type Refusal struct {
	Message Message
	Reason  string
}

// Refused is a refused message as it is kept.
type Refused struct {
	Topic      string
	Payload    string // its beginning
	Reason     string
	ReceivedAt time.Time
}

const (
	// keptRefused is how many refused messages of a co-op are kept, the newest.
	keptRefused = 1000
	// shownPayload is how much of a payload is kept, in bytes.
	shownPayload = 200
)

// keepRefused writes refusals; one that is there already stays.
func keepRefused(ctx context.Context, tx pgx.Tx, list []Refusal) error {
	const sql = `
		INSERT INTO refused_reading (message_id, place, topic, payload, reason, received_at)
		VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO NOTHING`
	batch := &pgx.Batch{}
	for _, r := range list {
		batch.Queue(sql, r.Message.ID, r.Message.Topic.Place, r.Message.Path, shown(r.Message.Payload), r.Reason, r.Message.At)
	}
	const trim = `
		DELETE FROM refused_reading WHERE message_id IN (
			SELECT message_id FROM refused_reading ORDER BY received_at DESC, message_id OFFSET $1)`
	batch.Queue(trim, keptRefused)
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return fmt.Errorf("keep refused readings: %w", err)
	}
	return nil
}

// ListRefused returns the refused messages of the co-op, newest first: those of
// one yard or farm, or (empty) all, at most 1,000.
func ListRefused(ctx context.Context, db pg.DB, place string) ([]Refused, error) {
	const sql = `
		SELECT topic, payload, reason, received_at FROM refused_reading
		WHERE $1 = '' OR place = $1 ORDER BY received_at DESC, message_id`
	rows, err := db.Query(ctx, sql, place)
	if err != nil {
		return nil, fmt.Errorf("list refused readings: %w", err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Refused])
	if err != nil {
		return nil, fmt.Errorf("list refused readings: %w", err)
	}
	return list, nil
}
