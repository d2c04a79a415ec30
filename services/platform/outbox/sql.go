package outbox

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/bus"
)

// number gives the next sequences of their co-ops to up to limit rows that
// have none, in the order they were written. One statement is one
// transaction: either the whole batch is numbered or none of it, so that a
// sequence once given is never given again.
//
// Rows are found by being unpublished and not by a remembered ordinal, since a
// row written earlier may become visible later.
func number(ctx context.Context, conn *pgx.Conn, limit int) error {
	_, err := conn.Exec(ctx, `
WITH fresh AS (
	SELECT coop_id, id, row_number() OVER (PARTITION BY coop_id ORDER BY ordinal) AS place
	FROM (
		SELECT coop_id, id, ordinal FROM outbox
		WHERE published_at IS NULL AND sequence IS NULL
		ORDER BY ordinal LIMIT $1
	) AS oldest
), last AS (
	SELECT coop_id, (SELECT coalesce(max(o.sequence), 0) FROM outbox AS o WHERE o.coop_id = c.coop_id) AS sequence
	FROM (SELECT DISTINCT coop_id FROM fresh) AS c
)
UPDATE outbox AS o SET sequence = last.sequence + fresh.place
FROM fresh JOIN last USING (coop_id)
WHERE o.coop_id = fresh.coop_id AND o.id = fresh.id`, limit)
	if err != nil {
		return fmt.Errorf("number events: %w", err)
	}
	return nil
}

// pending returns up to limit numbered events that are not marked published,
// each co-op's in the order of its sequence.
func pending(ctx context.Context, conn *pgx.Conn, service string, limit int) ([]bus.Event, error) {
	rows, err := conn.Query(ctx, `
SELECT coop_id::text, id::text, thing, what, aggregate, type, payload,
       coalesce(traceparent, ''), time, sequence
FROM outbox
WHERE published_at IS NULL AND sequence IS NOT NULL
ORDER BY coop_id, sequence LIMIT $1`, limit)
	if err != nil {
		return nil, fmt.Errorf("read unpublished events: %w", err)
	}
	events, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (bus.Event, error) {
		e := bus.Event{Parts: bus.Parts{Service: service}}
		err := row.Scan(&e.CoopID, &e.ID, &e.Thing, &e.What, &e.Aggregate, &e.Type, &e.Payload, &e.Trace, &e.Time, &e.Sequence)
		return e, err
	})
	if err != nil {
		return nil, fmt.Errorf("read unpublished events: %w", err)
	}
	return events, nil
}

// mark records that the bus has the events.
func mark(ctx context.Context, conn *pgx.Conn, events []bus.Event) error {
	coops, ids := make([]string, len(events)), make([]string, len(events))
	for i, e := range events {
		coops[i], ids[i] = e.CoopID, e.ID
	}
	_, err := conn.Exec(ctx, `
UPDATE outbox AS o SET published_at = clock_timestamp()
FROM unnest($1::uuid[], $2::uuid[]) AS sent(coop_id, id)
WHERE o.coop_id = sent.coop_id AND o.id = sent.id`, coops, ids)
	if err != nil {
		return fmt.Errorf("mark events published: %w", err)
	}
	return nil
}

// backlog returns how many events are unpublished and the age of the oldest;
// 0 when there are none.
func backlog(ctx context.Context, conn *pgx.Conn) (int64, time.Duration, error) {
	var count int64
	var seconds float64
	err := conn.QueryRow(ctx, `
SELECT count(*), coalesce(extract(epoch FROM clock_timestamp() - min(time)), 0)::float8
FROM outbox WHERE published_at IS NULL`).Scan(&count, &seconds)
	if err != nil {
		return 0, 0, fmt.Errorf("count unpublished events: %w", err)
	}
	return count, time.Duration(seconds * float64(time.Second)), nil
}

// latest returns the last published event of every co-op, without payload. It
// walks from co-op to co-op along the index, for the outbox holds every event
// ever published.
func latest(ctx context.Context, conn *pgx.Conn, service string) ([]bus.Event, error) {
	rows, err := conn.Query(ctx, `
WITH RECURSIVE coop AS (
	(SELECT coop_id FROM outbox ORDER BY coop_id LIMIT 1)
	UNION ALL
	SELECT (SELECT o.coop_id FROM outbox AS o WHERE o.coop_id > c.coop_id ORDER BY o.coop_id LIMIT 1)
	FROM coop AS c WHERE c.coop_id IS NOT NULL
)
SELECT last.coop_id::text, last.id::text, last.sequence
FROM coop CROSS JOIN LATERAL (
	SELECT o.coop_id, o.id, o.sequence FROM outbox AS o
	WHERE o.coop_id = coop.coop_id AND o.published_at IS NOT NULL
	ORDER BY o.sequence DESC LIMIT 1
) AS last
ORDER BY last.coop_id`)
	if err != nil {
		return nil, fmt.Errorf("read the last published events: %w", err)
	}
	events, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (bus.Event, error) {
		e := bus.Event{Parts: bus.Parts{Service: service}}
		err := row.Scan(&e.CoopID, &e.ID, &e.Sequence)
		return e, err
	})
	if err != nil {
		return nil, fmt.Errorf("read the last published events: %w", err)
	}
	return events, nil
}

// unmark makes an event wait for publishing again, its sequence kept.
func unmark(ctx context.Context, conn *pgx.Conn, e bus.Event) error {
	tag, err := conn.Exec(ctx, `UPDATE outbox SET published_at = NULL WHERE coop_id = $1 AND id = $2`, e.CoopID, e.ID)
	if err == nil && tag.RowsAffected() != 1 {
		err = errors.New("the row is gone")
	}
	if err != nil {
		return fmt.Errorf("publish event %s again: %w", e.ID, err)
	}
	return nil
}
