package inbox

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/pg"
)

// maxReason bounds the reason in a header and in the inbox, in bytes.
const maxReason = 2000

// bury sends an event to the dead letters and, once the bus has it there,
// records it as dead and moves the cursor on. A crash between the two buries
// it twice, which is better than not at all.
func (c *Consumer) bury(ctx context.Context, m Message, cause error) error {
	attempts := 1
	if t := c.trouble[m.CoopID]; t != nil && t.what == m.ID {
		attempts = t.attempts
	}
	reason := oneLine(cause.Error())
	msg := m.toBus().Message()
	err := c.publishDead(ctx, deadLetter{
		subject: bus.DeadSubject(c.opts.Service, m.Source, m.Thing, m.What), origin: msg.Subject, header: msg.Header, data: m.Payload,
		coopID: m.CoopID, reason: reason, attempts: attempts, id: m.ID,
	})
	if err != nil {
		return err
	}
	err = pg.InTx(ctx, c.opts.Pool, m.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		if _, err := lockCursor(ctx, tx, m.CoopID, m.Source); err != nil {
			return err
		}
		if known, err := hasRow(ctx, tx, m); err != nil || known {
			return err
		}
		return record(ctx, tx, m, dead, reason)
	})
	if err != nil {
		return fmt.Errorf("record event %s as dead: %w", m.ID, err)
	}
	delete(c.trouble, m.CoopID)
	c.metrics.count(dead, m)
	c.log.Error("event buried", "event", m.ID, "coop", m.CoopID, "type", m.Type, "sequence", m.Sequence, "attempts", attempts, "error", cause)
	return nil
}

// skipOrWait deals with a gap that the owner cannot fill. It waits as long as
// for a failing event, since the owner may be behind itself; then it leaves a
// dead letter that names the missing sequences and passes over them.
func (c *Consumer) skipOrWait(ctx context.Context, m Message, last int64) error {
	from, to := last+1, m.Sequence-1
	what := fmt.Sprintf("missing %d-%d", from, to)
	cause := fmt.Errorf("events %d to %d of %s are missing and their owner does not have them", from, to, m.Source)
	n := c.attempt(m.CoopID, what)
	if n < c.opts.MaxAttempts {
		return cause
	}
	h := nats.Header{}
	h.Set(bus.HeaderSequence, strconv.FormatInt(from, 10))
	err := c.publishDead(ctx, deadLetter{
		subject: bus.DeadSubject(c.opts.Service, m.Source, "sequence", "missing"), origin: bus.SourceFilter(m.Source), header: h,
		coopID: m.CoopID, reason: cause.Error(), attempts: n, id: m.CoopID + "-" + strings.ReplaceAll(what, " ", "-"),
	})
	if err != nil {
		return err
	}
	err = pg.InTx(ctx, c.opts.Pool, m.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		now, err := lockCursor(ctx, tx, m.CoopID, m.Source)
		if err != nil || now != last {
			return err // another consumer got further meanwhile
		}
		return moveCursor(ctx, tx, m.CoopID, m.Source, to)
	})
	if err != nil {
		return err
	}
	delete(c.trouble, m.CoopID)
	c.metrics.add(c.metrics.dead)
	c.log.Error("missing events passed over", "coop", m.CoopID, "from", from, "to", to, "attempts", n)
	return nil
}

// deadLetter is what goes to the dead letters.
type deadLetter struct {
	subject, origin string
	header          nats.Header // the event's own
	data            []byte
	coopID          string
	reason          string
	attempts        int
	id              string // names the letter for the bus's window of duplicates; empty for none
}

// publishDead publishes a dead letter and waits until the bus has it. Its
// error is an *outage: the event waits.
func (c *Consumer) publishDead(ctx context.Context, d deadLetter) error {
	m := nats.NewMsg(d.subject)
	m.Data = d.data
	for k, v := range d.header {
		m.Header[k] = v
	}
	m.Header.Del(nats.MsgIdHdr)
	if d.id != "" {
		m.Header.Set(nats.MsgIdHdr, "dead-"+c.opts.Service+"-"+d.id)
	}
	m.Header.Set(bus.HeaderDeadReason, oneLine(d.reason))
	m.Header.Set(bus.HeaderDeadAttempts, strconv.Itoa(d.attempts))
	m.Header.Set(bus.HeaderDeadConsumer, c.opts.Service)
	m.Header.Set(bus.HeaderDeadSubject, d.origin)
	if d.coopID != "" {
		m.Header.Set(bus.HeaderDeadCoop, d.coopID)
	}
	if _, err := c.opts.Bus.JetStream().PublishMsg(ctx, m, jetstream.WithExpectStream(bus.DeadStream)); err != nil {
		return &outage{"the bus's dead letters", err}
	}
	return nil
}

// oneLine makes a reason fit for a header: the first line, of bounded length,
// valid text.
func oneLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	s = strings.ReplaceAll(s, "\r", " ")
	if len(s) > maxReason {
		s = s[:maxReason]
	}
	return strings.ReplaceAll(strings.ToValidUTF8(s, "?"), "\x00", "?")
}
