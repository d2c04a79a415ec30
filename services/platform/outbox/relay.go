package outbox

import (
	"context"
	"fmt"
	"log/slog"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"breakshare.example/services/platform/background"
	"breakshare.example/services/platform/bus"
)

// RelayOptions tune a relay; the zero value is right for production.
type RelayOptions struct {
	// Poll is how often the outbox is read when nobody nudges. Default 1 s.
	Poll time.Duration
	// Batch is the most events read and published at once. Default 128.
	Batch int
	// Retry is the first pause after a lost connection to the database or a bus
	// that does not answer; it doubles up to 10 s.
	// Default 250 ms.
	Retry time.Duration
}

const (
	longestRetry   = 10 * time.Second
	longestStandby = time.Second // between two questions for the lock
	connectTimeout = 10 * time.Second
	queryTimeout   = 10 * time.Second
)

// Relay publishes a service's outbox. Of all relays of a service, in all
// processes, one is active: the one whose connection holds the service's
// advisory lock. Everything the active relay writes goes over that same
// connection, so that a relay which lost its lock cannot number or mark.
type Relay struct {
	// Runner is ready once the relay has reached the database: it is active, or stands by for the
	// relay that is. An event that Stop leaves published but not marked is published again by the
	// next relay, with the same id and sequence.
	*background.Runner

	pool    *pgxpool.Pool
	bus     *bus.Bus
	service string
	log     *slog.Logger
	opts    RelayOptions
	metrics *metrics
	hooks   hooks

	nudge  chan struct{}
	active atomic.Bool
}

// hooks let a test stop the relay where a crash would hurt most. An error
// ends the session with the database as a lost connection does.
type hooks struct {
	numbered  func(ctx context.Context) error // sequences are committed, nothing is published
	published func(ctx context.Context) error // the bus has acknowledged, nothing is marked
}

// NewRelay returns a relay for the outbox of service. The pool connects as the
// service's relay role; the relay takes one connection out of it for itself.
// It fails when the service's name cannot stand in a subject.
func NewRelay(pool *pgxpool.Pool, b *bus.Bus, service string, log *slog.Logger, o RelayOptions) (*Relay, error) {
	if err := bus.CheckService(service); err != nil {
		return nil, fmt.Errorf("outbox: %w", err)
	}
	if log == nil {
		log = slog.Default()
	}
	if o.Poll <= 0 {
		o.Poll = time.Second
	}
	if o.Batch <= 0 {
		o.Batch = 128
	}
	if o.Retry <= 0 {
		o.Retry = 250 * time.Millisecond
	}
	m, err := newMetrics(service)
	if err != nil {
		return nil, fmt.Errorf("outbox: metrics: %w", err)
	}
	r := &Relay{
		pool: pool, bus: b, service: service, log: log.With("relay", service), opts: o, metrics: m,
		nudge: make(chan struct{}, 1),
	}
	r.Runner = background.New("outbox: the relay of "+service, r.run)
	return r, nil
}

// Active reports whether this relay is the one that publishes.
func (r *Relay) Active() bool { return r.active.Load() }

// Nudge makes the relay read the outbox now. It never blocks and may be lost:
// the relay reads every Poll anyway.
func (r *Relay) Nudge() {
	select {
	case r.nudge <- struct{}{}:
	default:
	}
}

// run holds one session with the database after another.
func (r *Relay) run(ctx context.Context, ready func()) {
	pause := r.opts.Retry
	for ctx.Err() == nil {
		begun := time.Now()
		err := r.session(ctx, ready)
		r.active.Store(false)
		if ctx.Err() != nil {
			return
		}
		if time.Since(begun) > longestRetry {
			pause = r.opts.Retry
		}
		r.log.Warn("outbox relay lost its database session; events wait", "retry_in", pause, "error", err)
		if !background.Pause(ctx, pause) {
			return
		}
		pause = min(2*pause, longestRetry)
	}
}

// session connects, waits for the lock, then publishes until the connection
// fails or ctx ends.
func (r *Relay) session(ctx context.Context, ready func()) error {
	conn, err := r.connect(ctx)
	if err != nil {
		return err
	}
	defer release(ctx, conn)
	if err := r.awaitLock(ctx, conn, ready); err != nil {
		return err
	}
	r.log.Info("outbox relay is active")
	r.active.Store(true)
	ready()
	return r.publishLoop(ctx, conn)
}

// release gives the lock back and closes the connection. The lock would go with
// the connection too, but only when the server notices; the next relay need not
// wait for that. ctx may have ended.
func release(ctx context.Context, conn *pgx.Conn) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	if !conn.IsClosed() {
		_, _ = conn.Exec(ctx, `SELECT pg_advisory_unlock_all()`)
	}
	_ = conn.Close(ctx)
}

// connect takes a connection out of the pool for good: a session lock must not
// go back into a pool.
func (r *Relay) connect(ctx context.Context) (*pgx.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, connectTimeout)
	defer cancel()
	pooled, err := r.pool.Acquire(ctx)
	if err != nil {
		return nil, fmt.Errorf("connect: %w", err)
	}
	return pooled.Hijack(), nil
}

// awaitLock returns once conn holds the service's lock. It asks again and
// again rather than wait inside one statement, which would keep a snapshot
// open and hinder vacuum for as long as another relay lives.
func (r *Relay) awaitLock(ctx context.Context, conn *pgx.Conn, ready func()) error {
	for {
		var locked bool
		err := within(ctx, func(ctx context.Context) error {
			return conn.QueryRow(ctx, `SELECT pg_try_advisory_lock(hashtextextended('breakshare outbox relay ' || current_schema(), 0))`).Scan(&locked)
		})
		if err != nil {
			return fmt.Errorf("ask for the relay's lock: %w", err)
		}
		if locked {
			return nil
		}
		ready()
		if !background.Pause(ctx, min(r.opts.Poll, longestStandby)) {
			return ctx.Err()
		}
	}
}

// within bounds one statement, so that a connection that died without a word
// is noticed.
func within(ctx context.Context, fn func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(ctx, queryTimeout)
	defer cancel()
	return fn(ctx)
}
