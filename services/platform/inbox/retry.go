package inbox

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/identity"
)

// DeadLetter is an event that could not be taken in.
type DeadLetter struct {
	EventID  string
	Source   string
	Sequence int64
	Type     string // empty where it was not noted
	Reason   string
	BuriedAt time.Time
}

// ErrNoDeadLetter says that an event is none of the dead letters.
var ErrNoDeadLetter = errors.New("inbox: no such dead letter")

// Source is the service whose events the consumer takes.
func (c *Consumer) Source() string { return c.opts.Source }

// ListDead returns at most limit dead letters of the co-op, the newest first.
func ListDead(ctx context.Context, tx pgx.Tx, coopID string, limit int) ([]DeadLetter, error) {
	rows, err := tx.Query(ctx, `
SELECT event_id::text, source, sequence, coalesce(type, ''), reason, received_at
FROM inbox WHERE coop_id = $1 AND outcome = 'dead'
ORDER BY received_at DESC, event_id LIMIT $2`, coopID, limit)
	if err != nil {
		return nil, fmt.Errorf("list dead letters: %w", err)
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (d DeadLetter, err error) {
		err = row.Scan(&d.EventID, &d.Source, &d.Sequence, &d.Type, &d.Reason, &d.BuriedAt)
		return d, err
	})
}

// Place is where an event stands in the inbox.
type Place struct {
	Source   string
	Sequence int64
	Dead     bool
}

// Find returns where the event stands in the inbox. It fails with
// ErrNoDeadLetter for one that never came.
func Find(ctx context.Context, tx pgx.Tx, coopID, eventID string) (p Place, err error) {
	err = tx.QueryRow(ctx, `SELECT source, sequence, outcome = 'dead' FROM inbox WHERE coop_id = $1 AND event_id = $2`, coopID, eventID).Scan(&p.Source, &p.Sequence, &p.Dead)
	if errors.Is(err, pgx.ErrNoRows) {
		return p, ErrNoDeadLetter
	}
	if err != nil {
		return p, fmt.Errorf("find event %s in the inbox: %w", eventID, err)
	}
	return p, nil
}

// Recall asks the owner for an event again. It fails with ErrNoDeadLetter
// where the owner has another one in its place, or none.
func (c *Consumer) Recall(ctx context.Context, coopID, eventID string, sequence int64) (Message, error) {
	found, err := c.opts.Replay(ctx, coopID, sequence-1, sequence+1)
	if err != nil {
		return Message{}, &outage{"the owner's event log", err}
	}
	if len(found) != 1 || found[0].ID != eventID {
		return Message{}, ErrNoDeadLetter
	}
	return found[0], nil
}

// Revive applies a dead letter after all, within tx, which must be scoped to
// its co-op: it holds the cursor, so that no other event of the source is
// applied at the same time, and runs the handler as if the event had just
// come. Later events have been applied already: handlers keep the newest
// state, as they must for events that come twice. It reports false, and does
// nothing, where the event is not dead any more.
func (c *Consumer) Revive(ctx context.Context, tx pgx.Tx, m Message) (bool, error) {
	if _, err := lockCursor(ctx, tx, m.CoopID, m.Source); err != nil {
		return false, err
	}
	place, err := Find(ctx, tx, m.CoopID, m.ID)
	if err != nil || !place.Dead {
		return false, err
	}
	did := skipped
	if h, ok := c.opts.Handlers[m.Type]; ok {
		did = applied
		ctx := identity.With(ctx, identity.Identity{CoopID: m.CoopID, Role: identity.Service, Name: c.opts.Service})
		if err := guarded(ctx, h, tx, m); err != nil {
			return false, err
		}
	}
	if _, err := tx.Exec(ctx, `UPDATE inbox SET outcome = $3, reason = NULL WHERE coop_id = $1 AND event_id = $2`, m.CoopID, m.ID, string(did)); err != nil {
		return false, fmt.Errorf("note that event %s was taken in: %w", m.ID, err)
	}
	c.log.Info("dead letter taken in after all", "event", m.ID, "coop", m.CoopID, "type", m.Type, "sequence", m.Sequence)
	return true, nil
}

// StillDead notes why an event failed once more and returns the reason as it
// is kept. It reports an outage, which is no fault of the event's, by true.
func (c *Consumer) StillDead(ctx context.Context, tx pgx.Tx, m Message, cause error) (reason string, down bool, err error) {
	reason = oneLine(cause.Error())
	if isOutage(cause) {
		return reason, true, nil
	}
	_, err = tx.Exec(ctx, `UPDATE inbox SET reason = $3 WHERE coop_id = $1 AND event_id = $2 AND outcome = 'dead'`, m.CoopID, m.ID, reason)
	if err != nil {
		return reason, false, fmt.Errorf("note why event %s failed: %w", m.ID, err)
	}
	return reason, false, nil
}
