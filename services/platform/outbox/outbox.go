// Package outbox owns the events that a service tells of: Add writes an event
// in the transaction of the change it tells of, and the Relay numbers events
// and publishes them on the bus. Published rows are kept: the outbox is the
// record, the bus only the courier.
package outbox

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"go.opentelemetry.io/otel/propagation"
	"google.golang.org/protobuf/proto"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
)

// Event is something that happened, to be told to other services.
type Event struct {
	Thing     string        // what it is about, e.g. "expected_pick"
	What      string        // what happened to it, e.g. "pushed"
	Aggregate string        // id of the thing that changed; empty when there is none
	Payload   proto.Message // the full state after the change; its full name becomes the event's type
}

// ErrNoCoop is returned by Add when the context carries no identity.
var ErrNoCoop = errors.New("outbox: the context carries no identity, so the event has no co-op")

// TooLarge is returned by Add when the payload is over bus.MaxPayload.
type TooLarge struct {
	Type  string // full name of the payload's message
	Bytes int    // its size
}

// Error implements error.
func (e *TooLarge) Error() string {
	return fmt.Sprintf("outbox: %s takes %d bytes, the most is %d; tell of fewer things in one event", e.Type, e.Bytes, bus.MaxPayload)
}

// insert adds the row and wakes the relay. The notification leaves with the
// commit and not before, and several in one transaction fold into one. The
// schema names the service, so that services in one database wake only their
// own relay.
const insert = `
WITH added AS (
	INSERT INTO outbox (coop_id, id, thing, what, aggregate, type, payload, traceparent, time)
	VALUES ($1, $2, $3, $4, $5, $6, $7, nullif($8, ''), clock_timestamp())
	RETURNING id
)
SELECT pg_notify('outbox_' || current_schema(), '') FROM added`

// Add writes the event into the outbox of the service whose role tx runs as.
// The co-op is that of the identity in ctx. It returns ErrNoCoop, a
// *bus.SubjectProblem when Thing or What cannot stand in a subject, a
// *TooLarge, or the database's error.
func Add(ctx context.Context, tx pgx.Tx, e Event) error {
	id, ok := identity.From(ctx)
	if !ok {
		return ErrNoCoop
	}
	name, payload, err := e.body(id.CoopID)
	if err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, insert, id.CoopID, ids.New(), e.Thing, e.What, e.Aggregate, name, payload, traceparent(ctx)); err != nil {
		return fmt.Errorf("outbox: add %s.%s: %w", e.Thing, e.What, err)
	}
	return nil
}

// traceparent returns the W3C trace context of ctx, empty when it is not
// traced.
func traceparent(ctx context.Context) string {
	carrier := propagation.MapCarrier{}
	propagation.TraceContext{}.Inject(ctx, carrier)
	return carrier.Get(bus.HeaderTrace)
}
