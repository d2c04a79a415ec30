package inbox

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"

	"github.com/jackc/pgx/v5"
	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
)

// outcome is what became of an event, as the inbox row says it.
type outcome string

const (
	applied   outcome = "applied"
	skipped   outcome = "skipped"
	dead      outcome = "dead"
	duplicate outcome = "duplicate" // has its row already
)

// gap says that events between last and the one at hand are missing.
type gap struct{ last int64 }

func (g *gap) Error() string { return fmt.Sprintf("events after %d are missing", g.last) }

// applyOrBury applies m in one transaction. An event that failed too often, or
// for good, goes to the dead letters, which is success: the next may follow.
// It returns a *gap when an event before m is missing.
func (c *Consumer) applyOrBury(ctx context.Context, m Message) error {
	did, err := c.apply(ctx, m)
	if err == nil {
		c.metrics.count(did, m)
		return nil
	}
	var g *gap
	if ctx.Err() != nil || errors.As(err, &g) {
		return err
	}
	if !isPermanent(err) {
		if isOutage(err) {
			return err
		}
		if c.attempt(m.CoopID, m.ID) < c.opts.MaxAttempts {
			return err
		}
	}
	return c.bury(ctx, m, err)
}

// attempt counts a failure of the event itself and returns the count.
func (c *Consumer) attempt(coopID, what string) int {
	t := c.trouble[coopID]
	if t == nil {
		t = &trouble{}
		c.trouble[coopID] = t
	}
	return t.count(what)
}

// apply runs the event's handler, its inbox row and the cursor in one
// transaction.
func (c *Consumer) apply(ctx context.Context, m Message) (did outcome, err error) {
	ctx = propagation.TraceContext{}.Extract(ctx, propagation.MapCarrier{bus.HeaderTrace: m.Trace})
	ctx, span := otel.Tracer(scope).Start(ctx, "apply "+m.Type, trace.WithSpanKind(trace.SpanKindConsumer), trace.WithAttributes(
		attribute.String("messaging.message.id", m.ID), attribute.String("breakshare.coop", m.CoopID), attribute.Int64("breakshare.sequence", m.Sequence)))
	defer func() {
		if err != nil {
			span.RecordError(err)
			span.SetStatus(codes.Error, "not applied")
		}
		span.End()
	}()
	ctx = identity.With(ctx, identity.Identity{CoopID: m.CoopID, Role: identity.Service, Name: c.opts.Service})
	err = pg.InTx(ctx, c.opts.Pool, m.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		last, err := lockCursor(ctx, tx, m.CoopID, m.Source)
		if err != nil {
			return err
		}
		if m.Sequence > last+1 {
			return &gap{last}
		}
		if m.Sequence <= last {
			did = duplicate
			return c.checkKnown(ctx, tx, m)
		}
		did = skipped
		if h, ok := c.opts.Handlers[m.Type]; ok {
			did = applied
			if err := guarded(ctx, h, tx, m); err != nil {
				return err
			}
		}
		return record(ctx, tx, m, did, "")
	})
	return did, err
}

// checkKnown tells a second delivery from a sequence given twice, which
// happens when the owner's database was put back to an older state.
func (c *Consumer) checkKnown(ctx context.Context, tx pgx.Tx, m Message) error {
	known, err := hasRow(ctx, tx, m)
	if err != nil || known {
		return err
	}
	return Permanent(fmt.Errorf("sequence %d of %s was used by another event before; was the owner's database put back?", m.Sequence, m.Source))
}

// guarded runs a handler and turns its panic into an error, so that one bad
// event does not end the process again and again.
func guarded(ctx context.Context, h Handler, tx pgx.Tx, m Message) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("handler of %s panicked: %v\n%s", m.Type, p, debug.Stack())
		}
	}()
	if err := h(ctx, tx, m); err != nil {
		return fmt.Errorf("handler of %s: %w", m.Type, err)
	}
	return nil
}
