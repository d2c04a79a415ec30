package intake

import (
	"context"
	"errors"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/nats-io/nats.go/jetstream"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
)

// mostTries is how often a message is tried that fails by its own fault.
const mostTries = 5

// delivery is a message of the bus with what it says.
type delivery struct {
	bus     jetstream.Msg
	message Message
	refused error // why it cannot be read; nil where it can
}

// take brings messages to their end, one co-op after the other.
func (c *Consumer) take(ctx context.Context, list []jetstream.Msg) {
	of := map[string][]delivery{}
	for _, m := range list {
		if elsewhere(m) {
			c.acknowledge(m)
			continue
		}
		d := delivery{bus: m}
		d.message, d.refused = read(m)
		coop := strings.ToLower(d.message.Topic.CoopID)
		if coop == "" { // of nobody: no device of ours may publish there
			c.o.Log.Warn("reading of an instrument refused; it names no co-op", "topic", d.message.Path, "reason", d.refused)
			c.metrics.count(outcomeRefused, 1)
			c.acknowledge(m)
			continue
		}
		of[coop] = append(of[coop], d)
	}
	for coop, list := range of {
		c.takeOf(ctx, coop, list)
	}
}

// takeOf stores the messages of a co-op together. Where that fails by the fault
// of one of them, each is tried alone.
func (c *Consumer) takeOf(ctx context.Context, coop string, list []delivery) {
	err := c.store(ctx, coop, list)
	switch {
	case err == nil:
		for _, d := range list {
			c.acknowledge(d.bus)
		}
	case ctx.Err() != nil:
		for _, d := range list {
			_ = d.bus.Nak() // stopping; the next consumer need not wait
		}
	case len(list) > 1 && !isOutage(err):
		for i := range list {
			c.takeOf(ctx, coop, list[i:i+1])
		}
	case list[0].refused == nil && !isOutage(err) && tries(list[0].bus) >= mostTries:
		list[0].refused = err
		c.takeOf(ctx, coop, list)
	default:
		c.metrics.count(outcomeFailed, len(list))
		c.o.Log.Warn("readings of instruments not stored; they are tried again", "coop", coop, "messages", len(list), "retry_in", c.o.Pause, "error", err)
		for _, d := range list {
			if err := d.bus.NakWithDelay(c.o.Pause); err != nil {
				c.o.Log.Warn("bus", "error", err) // it comes again after the consumer's wait
			}
		}
	}
}

// store has the service take what can be read, and keeps the rest with its reason.
func (c *Consumer) store(ctx context.Context, coop string, list []delivery) error {
	ctx = identity.With(ctx, identity.Identity{CoopID: coop, Role: identity.Service, Name: "instruments"})
	var good []Message
	var refused []Refusal
	for _, d := range list {
		if d.refused == nil {
			good = append(good, d.message)
		} else {
			refused = append(refused, Refusal{d.message, d.refused.Error()})
		}
	}
	if len(good) > 0 {
		unusable, err := c.o.Take(ctx, good)
		if err != nil {
			return err
		}
		refused = append(refused, unusable...)
	}
	if len(refused) > 0 {
		err := pg.InTx(ctx, c.o.Pool, coop, func(ctx context.Context, tx pgx.Tx) error { return keepRefused(ctx, tx, refused) })
		if err != nil {
			return err
		}
		for _, r := range refused {
			c.o.Log.Warn("reading of an instrument refused", "coop", coop, "topic", r.Message.Path, "payload", shown(r.Message.Payload), "reason", r.Reason)
		}
	}
	c.metrics.count(outcomeRefused, len(refused))
	c.metrics.count(outcomeStored, len(list)-len(refused))
	return nil
}

func (c *Consumer) acknowledge(m jetstream.Msg) {
	if err := m.Ack(); err != nil {
		c.o.Log.Warn("reading stored but not acknowledged; it comes again", "error", err)
	}
}

func tries(m jetstream.Msg) uint64 {
	meta, err := m.Metadata()
	if err != nil {
		return 0
	}
	return meta.NumDelivered
}

// isOutage reports whether something that every message needs is down.
func isOutage(err error) bool {
	var pgErr *pgconn.PgError
	if errors.As(err, &pgErr) {
		// Connections, resources, an operator's doing and the system: PostgreSQL, appendix A.
		return slices.Contains([]string{"08", "53", "57", "58"}, pgErr.Code[:2])
	}
	var own *fault.Error
	if errors.As(err, &own) {
		return own.Kind == fault.Unavailable || own.Kind == fault.Deadline || own.Kind == fault.Cancelled
	}
	var connect *pgconn.ConnectError
	return errors.As(err, &connect) || errors.Is(err, context.DeadlineExceeded) || pgconn.SafeToRetry(err)
}
