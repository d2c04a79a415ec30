package intake

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/nats-io/nats.go/jetstream"

	"breakshare.example/services/platform/bus"
)

// Options of a consumer. All but Log and Pause are needed.
type Options struct {
	// Service that takes the readings, as in the topics.
	Service string
	Bus     *bus.Bus
	// Pool of the service, where refused messages are kept.
	Pool *pgxpool.Pool
	// Take stores readings of one co-op, whose identity stands in the context, and
	// returns the messages that cannot be used. It commits by itself, and must store
	// nothing twice: a message comes again when its acknowledgement is lost. With an
	// error none is stored, and the messages come again.
	Take func(ctx context.Context, list []Message) ([]Refusal, error)
	// Log hears of refused messages and of failures. Default slog.Default().
	Log *slog.Logger
	// Pause before messages that failed come again. Default 2 s.
	Pause time.Duration
}

// Consumer takes the readings for one service, in batches as large as what has
// gathered while the last one was stored. Several processes of a service may
// each run one.
type Consumer struct {
	o       Options
	metrics *metrics

	started chan struct{}
	ready   sync.Once

	mu     sync.Mutex
	cancel context.CancelFunc
	done   chan struct{}
}

// mostMessages is the most messages of one batch.
const mostMessages = 500

// New returns a consumer. It fails when a needed option is missing.
func New(o Options) (*Consumer, error) {
	if o.Service == "" || o.Bus == nil || o.Pool == nil || o.Take == nil {
		return nil, errors.New("intake: service, bus, pool and take are needed")
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.Pause == 0 {
		o.Pause = 2 * time.Second
	}
	m, err := newMetrics(o.Service)
	if err != nil {
		return nil, fmt.Errorf("intake: metrics: %w", err)
	}
	return &Consumer{o: o, metrics: m, started: make(chan struct{})}, nil
}

// Start lets the consumer run until Stop or until ctx ends. It returns at once.
// A consumer starts once.
func (c *Consumer) Start(ctx context.Context) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.done != nil {
		return errors.New("intake: the consumer was started before")
	}
	ctx, c.cancel = context.WithCancel(ctx)
	c.done = make(chan struct{})
	go func() {
		defer close(c.done)
		c.run(ctx)
	}()
	return nil
}

// Started is closed once the durable consumers stand on the bus.
func (c *Consumer) Started() <-chan struct{} { return c.started }

// Stop ends the consumer and waits for it, or for ctx to end. Stopping one that
// never started, or twice, is harmless.
func (c *Consumer) Stop(ctx context.Context) error {
	c.mu.Lock()
	cancel, done := c.cancel, c.done
	c.mu.Unlock()
	if done == nil {
		return nil
	}
	cancel()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("intake: stopping: %w", ctx.Err())
	}
}

// run makes the durable consumers and takes from both; when one is gone, or the
// bus is, it begins again.
func (c *Consumer) run(ctx context.Context) {
	for ctx.Err() == nil {
		durables, err := ensure(ctx, c.o.Bus, c.o.Service)
		if err == nil {
			c.ready.Do(func() { close(c.started) })
			err = c.takeAll(ctx, durables)
		}
		if ctx.Err() != nil {
			return
		}
		c.o.Log.Warn("readings of instruments wait: their place on the bus is lost; it is taken again", "retry_in", c.o.Pause, "error", err)
		pause(ctx, c.o.Pause)
	}
}

// takeAll takes from all consumers at once until one cannot be reached.
func (c *Consumer) takeAll(ctx context.Context, durables []jetstream.Consumer) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	failed := make(chan error, len(durables))
	for _, d := range durables {
		go func() { failed <- c.takeFrom(ctx, d) }()
	}
	first := <-failed
	cancel()
	for range len(durables) - 1 {
		<-failed
	}
	return first
}

// takeFrom waits for one message, adds what else is there, and takes them.
func (c *Consumer) takeFrom(ctx context.Context, durable jetstream.Consumer) error {
	for ctx.Err() == nil {
		list, err := fetch(durable.Fetch(1, jetstream.FetchContext(ctx)))
		if err != nil && ctx.Err() == nil {
			return err
		}
		if len(list) > 0 {
			more, err := fetch(durable.FetchNoWait(mostMessages - 1))
			if err != nil && ctx.Err() == nil {
				return err
			}
			c.take(ctx, append(list, more...))
		}
	}
	return ctx.Err()
}

func fetch(batch jetstream.MessageBatch, err error) (list []jetstream.Msg, _ error) {
	if err != nil {
		return nil, fmt.Errorf("fetch: %w", err)
	}
	for m := range batch.Messages() {
		list = append(list, m)
	}
	if err := batch.Error(); err != nil {
		return list, fmt.Errorf("fetch: %w", err)
	}
	return list, nil
}

func pause(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}
