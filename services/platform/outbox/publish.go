package outbox

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/nats-io/nats.go/jetstream"

	"breakshare.example/services/platform/background"
	"breakshare.example/services/platform/bus"
)

// publishLoop reads and publishes until the connection fails or ctx ends. A
// bus that does not answer is no reason to give up the lock: the events wait,
// and a nudge does not shorten the pause.
func (r *Relay) publishLoop(ctx context.Context, conn *pgx.Conn) error {
	if _, err := conn.Exec(ctx, `SELECT set_config('application_name', $1, false)`, "breakshare "+r.service+" relay"); err != nil {
		return fmt.Errorf("name the session: %w", err)
	}
	// The channel's name is the schema's, see insert.
	var channel string
	if err := conn.QueryRow(ctx, `SELECT 'outbox_' || current_schema()`).Scan(&channel); err != nil {
		return fmt.Errorf("read the schema: %w", err)
	}
	if _, err := conn.Exec(ctx, "LISTEN "+pgx.Identifier{channel}.Sanitize()); err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	var pause time.Duration // grows while the bus does not answer
	known := uint64(busUnknown)
	for {
		n, err := r.round(ctx, conn, &known)
		var down *busError
		if errors.As(err, &down) {
			pause = min(max(2*pause, r.opts.Retry), longestRetry)
			r.log.Warn("outbox relay cannot publish; events wait", "retry_in", pause, "error", err)
			if err := r.observe(ctx, conn); err != nil {
				return err
			}
			if !background.Pause(ctx, pause) {
				return ctx.Err()
			}
			continue
		}
		if err != nil {
			return err
		}
		pause = 0
		if n == r.opts.Batch {
			continue // there is more
		}
		if err := r.observe(ctx, conn); err != nil {
			return err
		}
		if err := r.wait(ctx, conn); err != nil {
			return err
		}
	}
}

// busUnknown stands for a bus that this session has not compared with the
// outbox yet.
const busUnknown = math.MaxUint64

// round publishes one batch, after it has made sure that the bus did not lose
// what it had: at the session's beginning and after each reconnection, of which
// known is the count seen last. It returns how many events it marked.
func (r *Relay) round(ctx context.Context, conn *pgx.Conn, known *uint64) (int, error) {
	if now := r.bus.Reconnects(); now != *known {
		if err := r.restore(ctx, conn); err != nil {
			return 0, err
		}
		*known = now
	}
	return r.publishBatch(ctx, conn)
}

// wait returns after a notification, a nudge or Poll, whichever is first.
func (r *Relay) wait(ctx context.Context, conn *pgx.Conn) error {
	waiting, cancel := context.WithTimeout(ctx, r.opts.Poll)
	defer cancel()
	nudged := make(chan struct{})
	go func() {
		defer close(nudged)
		select {
		case <-r.nudge:
			cancel()
		case <-waiting.Done():
		}
	}()
	_, err := conn.WaitForNotification(waiting)
	ended := waiting.Err() != nil
	cancel()
	<-nudged
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err == nil, ended && !conn.IsClosed():
		return nil
	default:
		return fmt.Errorf("wait for a notification: %w", err)
	}
}

// busError says that the bus did not take an event; the database is well.
type busError struct{ err error }

func (e *busError) Error() string { return e.err.Error() }
func (e *busError) Unwrap() error { return e.err }

// publishBatch numbers what is new, publishes what is not yet marked, and
// marks what the bus acknowledged. It returns how many it marked.
func (r *Relay) publishBatch(ctx context.Context, conn *pgx.Conn) (int, error) {
	var events []bus.Event
	err := within(ctx, func(ctx context.Context) (err error) {
		if err = number(ctx, conn, r.opts.Batch); err != nil {
			return err
		}
		events, err = pending(ctx, conn, r.service, r.opts.Batch)
		return err
	})
	if err != nil || len(events) == 0 {
		return 0, err
	}
	if err := call(ctx, r.hooks.numbered); err != nil {
		return 0, err
	}
	acked, publishErr := r.publish(ctx, events)
	if err := call(ctx, r.hooks.published); err != nil {
		return 0, err
	}
	if len(acked) > 0 {
		if err := within(ctx, func(ctx context.Context) error { return mark(ctx, conn, acked) }); err != nil {
			return 0, err
		}
		r.metrics.published.Add(ctx, int64(len(acked)), r.metrics.attrs)
	}
	return len(acked), publishErr
}

func call(ctx context.Context, hook func(context.Context) error) error {
	if hook == nil {
		return nil
	}
	return hook(ctx)
}

// publish sends the events in order without waiting for each, then waits for
// every answer. It returns the events the bus acknowledged, and a *busError
// for the first it did not.
func (r *Relay) publish(ctx context.Context, events []bus.Event) ([]bus.Event, error) {
	js := r.bus.JetStream()
	var first error
	futures := make([]jetstream.PubAckFuture, 0, len(events))
	for _, e := range events {
		f, err := js.PublishMsgAsync(e.Message(), jetstream.WithExpectStream(bus.Stream))
		if err != nil {
			first = &busError{fmt.Errorf("publish event %s: %w", e.ID, err)}
			break // keep the order: what follows waits too
		}
		futures = append(futures, f)
	}
	acked := make([]bus.Event, 0, len(futures))
	for i, f := range futures {
		select {
		case <-f.Ok():
			acked = append(acked, events[i])
		case err := <-f.Err():
			if first == nil {
				first = &busError{fmt.Errorf("publish event %s: %w", events[i].ID, err)}
			}
		case <-ctx.Done():
			return acked, ctx.Err()
		}
	}
	return acked, first
}

// observe records how much waits and for how long.
func (r *Relay) observe(ctx context.Context, conn *pgx.Conn) error {
	var count int64
	var age time.Duration
	err := within(ctx, func(ctx context.Context) (err error) {
		count, age, err = backlog(ctx, conn)
		return err
	})
	if err != nil {
		return err
	}
	r.metrics.waiting.Record(ctx, count, r.metrics.attrs)
	r.metrics.lag.Record(ctx, age.Seconds(), r.metrics.attrs)
	return nil
}
