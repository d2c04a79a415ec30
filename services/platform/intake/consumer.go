package intake

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/nats-io/nats.go/jetstream"

	"breakshare.example/services/platform/background"
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
	// Runner is ready once the durable consumers stand on the bus.
	*background.Runner

	o       Options
	metrics *metrics
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
	c := &Consumer{o: o, metrics: m}
	c.Runner = background.New("intake of "+o.Service, c.run)
	return c, nil
}

// run makes the durable consumers and takes from both; when one is gone, or the
// bus is, it begins again.
func (c *Consumer) run(ctx context.Context, ready func()) {
	for ctx.Err() == nil {
		durables, err := ensure(ctx, c.o.Bus, c.o.Service)
		if err == nil {
			ready()
			err = c.takeAll(ctx, durables)
		}
		if ctx.Err() != nil {
			return
		}
		c.o.Log.Warn("readings of instruments wait: their place on the bus is lost; it is taken again", "retry_in", c.o.Pause, "error", err)
		background.Pause(ctx, c.o.Pause)
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
