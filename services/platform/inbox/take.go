package inbox

import (
	"context"
	"errors"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"breakshare.example/services/platform/bus"
)

// take brings one message from the bus to its end: acknowledged after the
// commit, or refused with a delay.
func (c *Consumer) take(ctx context.Context, jm jetstream.Msg) {
	e, err := bus.ParseEvent(jm.Subject(), jm.Headers(), jm.Data())
	if err != nil {
		c.takeMalformed(ctx, jm, err)
		return
	}
	m := fromBus(e)
	t := c.trouble[m.CoopID]
	if wait := t.remaining(time.Now()); wait > 0 {
		// An earlier event of this co-op failed. This one waits its turn; other
		// co-ops do not wait.
		c.refuse(jm, wait)
		return
	}
	if err := c.bring(ctx, m); err != nil {
		if ctx.Err() != nil {
			_ = jm.Nak() // stopping: no failure of the event's
			return
		}
		c.refuse(jm, c.failed(m, err))
		return
	}
	delete(c.trouble, m.CoopID)
	if c.hooks.committed != nil && c.hooks.committed(m) != nil {
		return
	}
	if err := jm.Ack(); err != nil {
		// The message comes again and the inbox knows it.
		c.log.Warn("event applied but not acknowledged", "event", m.ID, "coop", m.CoopID, "error", err)
	}
}

// failed notes a failure and returns how long the co-op waits.
func (c *Consumer) failed(m Message, err error) time.Duration {
	t := c.trouble[m.CoopID]
	if t == nil {
		t = &trouble{}
		c.trouble[m.CoopID] = t
	}
	wait := t.pause(time.Now(), c.opts.Backoff, c.opts.MaxBackoff)
	c.metrics.add(c.metrics.failed)
	c.log.Warn("event not applied; it is tried again", "event", m.ID, "coop", m.CoopID, "type", m.Type,
		"sequence", m.Sequence, "attempts", t.attempts, "retry_in", wait, "error", err)
	return wait
}

// refuse gives a message back. A plain Nak would bring it again at once.
func (c *Consumer) refuse(jm jetstream.Msg, wait time.Duration) {
	if err := jm.NakWithDelay(wait); err != nil {
		c.log.Warn("message not given back; it comes again after the wait for its acknowledgement", "subject", jm.Subject(), "error", err)
	}
}

// bring applies m and, before it, whatever is missing before m.
func (c *Consumer) bring(ctx context.Context, m Message) error {
	err := c.applyOrBury(ctx, m)
	var g *gap
	for errors.As(err, &g) {
		if err := c.fill(ctx, m, g.last); err != nil {
			return err
		}
		err = c.applyOrBury(ctx, m)
	}
	return err
}

// fill applies the events between last and m from the owner's log.
func (c *Consumer) fill(ctx context.Context, m Message, last int64) error {
	c.log.Info("events missing on the bus; the owner is asked", "coop", m.CoopID, "after", last, "before", m.Sequence)
	for last < m.Sequence-1 {
		missing, err := c.opts.Replay(ctx, m.CoopID, last, m.Sequence)
		if err != nil {
			return &outage{"the owner's event log", err}
		}
		if len(missing) == 0 {
			return c.skipOrWait(ctx, m, last)
		}
		for _, e := range missing {
			if e.Sequence >= m.Sequence {
				return nil
			}
			if e.Sequence != last+1 || e.CoopID != m.CoopID || e.Source != c.opts.Source {
				return &outage{"the owner's event log", &wrongReplay{want: last + 1, got: e}}
			}
			if err := c.applyOrBury(ctx, e); err != nil {
				return err
			}
			c.metrics.add(c.metrics.replayed)
			last = e.Sequence
		}
	}
	return nil
}

// takeMalformed buries a message that is no event of ours. It has no place in
// any sequence, so nothing waits for it.
func (c *Consumer) takeMalformed(ctx context.Context, jm jetstream.Msg, why error) {
	err := c.publishDead(ctx, deadLetter{
		subject: bus.DeadSubject(c.opts.Service, c.opts.Source, "message", "malformed"),
		origin:  jm.Subject(), header: jm.Headers(), data: jm.Data(), reason: why.Error(), attempts: 1,
	})
	if err != nil {
		c.log.Warn("malformed message not buried; it is tried again", "subject", jm.Subject(), "error", err)
		c.refuse(jm, c.opts.Backoff)
		return
	}
	c.log.Error("malformed message buried", "subject", jm.Subject(), "error", why)
	c.metrics.add(c.metrics.dead)
	if err := jm.Ack(); err != nil {
		c.log.Warn("buried message not acknowledged", "subject", jm.Subject(), "error", err)
	}
}

func fromBus(e bus.Event) Message {
	return Message{
		ID: e.ID, CoopID: e.CoopID, Source: e.Service, Type: e.Type, Thing: e.Thing, What: e.What,
		Aggregate: e.Aggregate, Sequence: e.Sequence, Time: e.Time, Trace: e.Trace, Payload: e.Payload,
	}
}

func (m Message) toBus() bus.Event {
	return bus.Event{
		Parts: bus.Parts{CoopID: m.CoopID, Service: m.Source, Thing: m.Thing, What: m.What}, ID: m.ID, Type: m.Type,
		Aggregate: m.Aggregate, Sequence: m.Sequence, Time: m.Time, Trace: m.Trace, Payload: m.Payload,
	}
}
