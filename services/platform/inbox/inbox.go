// Package inbox owns how a service takes in the events of another: in order,
// each exactly once in its effects, none dropped in silence. A consumer applies
// an event, its inbox row and the cursor in one transaction, and acknowledges
// after the commit. The bus may deliver twice, out of order or not at all: the
// row makes the second delivery harmless, and the gapless sequence shows what
// is missing, which the owner then replays.
package inbox

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
)

// Message is one event from another service.
type Message struct {
	ID        string // UUID
	CoopID    string // UUID
	Source    string // the service that tells of it
	Type      string // full name of the payload's message
	Thing     string // what it is about
	What      string // what happened
	Aggregate string // id of the thing that changed; empty when there is none
	Sequence  int64  // place among the co-op's events from the source, from 1
	Time      time.Time
	Trace     string // W3C traceparent; empty when not traced
	Payload   []byte // the message named by Type, in protobuf's binary form
}

// Handler applies one event. ctx carries the identity {CoopID, role Service}
// and the event's trace; tx is scoped to the co-op. It may run again for the
// same event after a failure, so all its effects go through tx. An error rolls
// everything back; the event is tried again, or buried at once when the error
// is Permanent.
type Handler func(ctx context.Context, tx pgx.Tx, m Message) error

// Replay asks the owner of a source for the events of a co-op with sequences
// after < sequence < before. It returns them in order beginning at after+1;
// it may return fewer than asked, and is then asked again for the rest. None at
// all means that the owner does not have them.
type Replay func(ctx context.Context, coopID string, after, before int64) ([]Message, error)

// permanent marks an error that no further attempt can mend.
type permanent struct{ err error }

func (p *permanent) Error() string { return p.err.Error() }
func (p *permanent) Unwrap() error { return p.err }

// Permanent marks an error of a handler as one that trying again cannot mend:
// the event goes to the dead letters at once. Permanent(nil) is nil.
func Permanent(err error) error {
	if err == nil {
		return nil
	}
	return &permanent{err}
}

func isPermanent(err error) bool {
	var p *permanent
	return errors.As(err, &p)
}

// On returns the event type of M and a Handler that unmarshals the payload
// before it calls fn. A payload that does not unmarshal is a Permanent error.
func On[M proto.Message](fn func(ctx context.Context, tx pgx.Tx, m Message, body M) error) (ceType string, h Handler) {
	var none M
	kind := none.ProtoReflect().Type()
	return string(kind.Descriptor().FullName()), func(ctx context.Context, tx pgx.Tx, m Message) error {
		body := kind.New().Interface().(M)
		if err := proto.Unmarshal(m.Payload, body); err != nil {
			return Permanent(fmt.Errorf("payload is no %s: %w", m.Type, err))
		}
		return fn(ctx, tx, m, body)
	}
}

// Register puts the handler that On returns into handlers. It panics when the
// type has one already: a service says once what it does with an event.
func Register[M proto.Message](handlers map[string]Handler, fn func(ctx context.Context, tx pgx.Tx, m Message, body M) error) {
	ceType, h := On(fn)
	if _, ok := handlers[ceType]; ok {
		panic("inbox: two handlers for " + ceType)
	}
	handlers[ceType] = h
}
