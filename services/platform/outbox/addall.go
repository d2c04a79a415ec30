package outbox

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
)

// insertAll is insert for many rows, which keep their order.
const insertAll = `
WITH added AS (
	INSERT INTO outbox (coop_id, id, thing, what, aggregate, type, payload, traceparent, time)
	SELECT $1, e.id, e.thing, e.what, e.aggregate, e.type, e.payload, nullif($8, ''), clock_timestamp()
	FROM unnest($2::uuid[], $3::text[], $4::text[], $5::text[], $6::text[], $7::bytea[])
		WITH ORDINALITY AS e (id, thing, what, aggregate, type, payload, place)
	ORDER BY e.place
	RETURNING id
)
SELECT pg_notify('outbox_' || current_schema(), '') FROM added LIMIT 1`

// AddAll is Add for many events in one statement; they are told in the order
// given. None of them is written where one is refused.
func AddAll(ctx context.Context, tx pgx.Tx, events []Event) error {
	if len(events) == 0 {
		return nil
	}
	b := &pgx.Batch{}
	if err := Queue(ctx, b, events); err != nil {
		return err
	}
	if err := tx.SendBatch(ctx, b).Close(); err != nil {
		return fmt.Errorf("outbox: add %d events: %w", len(events), err)
	}
	return nil
}

// Queue is AddAll as a part of a batch of statements, which the caller sends.
func Queue(ctx context.Context, b *pgx.Batch, events []Event) error {
	if len(events) == 0 {
		return nil
	}
	caller, ok := identity.From(ctx)
	if !ok {
		return ErrNoCoop
	}
	n := len(events)
	id, thing, what, aggregate, name, payload := make([]string, n), make([]string, n), make([]string, n), make([]string, n), make([]string, n), make([][]byte, n)
	for i, e := range events {
		var err error
		if name[i], payload[i], err = e.body(caller.CoopID); err != nil {
			return err
		}
		id[i], thing[i], what[i], aggregate[i] = ids.New(), e.Thing, e.What, e.Aggregate
	}
	b.Queue(insertAll, caller.CoopID, id, thing, what, aggregate, name, payload, traceparent(ctx))
	return nil
}

// body checks the event and returns its type and payload.
func (e Event) body(coopID string) (name string, payload []byte, err error) {
	// The service is checked by the relay, which knows its name.
	if err := bus.CheckSubject(coopID, "service", e.Thing, e.What); err != nil {
		return "", nil, fmt.Errorf("outbox: %w", err)
	}
	if e.Payload == nil {
		return "", nil, fmt.Errorf("outbox: event %s.%s has no payload", e.Thing, e.What)
	}
	name = string(e.Payload.ProtoReflect().Descriptor().FullName())
	if payload, err = (proto.MarshalOptions{Deterministic: true}).Marshal(e.Payload); err != nil {
		return "", nil, fmt.Errorf("outbox: marshal %s: %w", name, err)
	}
	if len(payload) > bus.MaxPayload {
		return "", nil, &TooLarge{Type: name, Bytes: len(payload)}
	}
	return name, payload, nil
}
