package inbox

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"breakshare.example/services/platform/background"
	"breakshare.example/services/platform/bus"
)

// Consumer takes the events of one source into one service. It works on one
// event at a time; several processes of a service may each run one, for the
// cursor's row lock keeps the order between them.
type Consumer struct {
	// Runner is ready once the durable consumer stands on the bus. Stop rolls an event in work
	// back; it is delivered again later.
	*background.Runner

	opts    Options
	log     *slog.Logger
	metrics *metrics
	trouble map[string]*trouble // by co-op; only the running goroutine touches it
	hooks   hooks
}

// hooks let a test stop the consumer where a crash would hurt most. An error
// leaves the message neither acknowledged nor refused, as a crash does.
type hooks struct {
	committed func(m Message) error // the transaction is committed, the message not yet acknowledged
}

// New returns a consumer. It fails when a needed option is missing or a name
// cannot stand in a subject.
func New(o Options) (*Consumer, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	o = o.withDefaults()
	m, err := newMetrics(o.Service, o.Source)
	if err != nil {
		return nil, fmt.Errorf("inbox: metrics: %w", err)
	}
	c := &Consumer{
		opts: o, log: o.Log.With("consumer", o.Service, "source", o.Source), metrics: m,
		trouble: map[string]*trouble{},
	}
	c.Runner = background.New("inbox: the consumer of "+o.Source, c.run)
	return c, nil
}

// run makes the durable consumer and takes from it; when it is gone, or the
// bus is, it begins again.
func (c *Consumer) run(ctx context.Context, ready func()) {
	failures := 0
	for ctx.Err() == nil {
		durable, err := c.ensure(ctx)
		if err == nil {
			failures = 0
			ready()
			err = c.consume(ctx, durable)
		}
		if ctx.Err() != nil {
			return
		}
		failures++
		pause := backoff(c.opts.Backoff, min(c.opts.MaxBackoff, 5*time.Second), failures)
		c.log.Warn("event consumer lost its place on the bus; it takes it again", "retry_in", pause, "error", err)
		if !background.Pause(ctx, pause) {
			return
		}
	}
}

// ensure creates the durable consumer or finds the one that is there. It asks
// for every event the stream holds: what this service had before is in its
// inbox. The bus never gives up on an event by itself (MaxDeliver −1): past a
// limit it would drop it without a word.
func (c *Consumer) ensure(ctx context.Context) (jetstream.Consumer, error) {
	name := c.opts.Service + "_" + c.opts.Source
	durable, err := c.opts.Bus.JetStream().CreateOrUpdateConsumer(ctx, bus.Stream, jetstream.ConsumerConfig{
		Durable:       name,
		Description:   "Events of " + c.opts.Source + " for " + c.opts.Service,
		FilterSubject: bus.SourceFilter(c.opts.Source),
		DeliverPolicy: jetstream.DeliverAllPolicy,
		AckPolicy:     jetstream.AckExplicitPolicy,
		AckWait:       c.opts.AckWait,
		MaxDeliver:    -1,
	})
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		// A bus with an empty folder: bring the streams back.
		err = errors.Join(err, c.opts.Bus.Ensure(ctx))
	}
	if err != nil {
		return nil, fmt.Errorf("consumer %s on stream %s: %w", name, bus.Stream, err)
	}
	return durable, nil
}

// consume takes messages until the durable consumer cannot be reached: it was
// deleted, its stream was, or the bus is silent. Every pull ends after 30 s at
// most and the server's heartbeats show that it is still known there.
func (c *Consumer) consume(ctx context.Context, durable jetstream.Consumer) error {
	for ctx.Err() == nil {
		batch, err := durable.Fetch(c.opts.Fetch, jetstream.FetchContext(ctx))
		if err != nil {
			return fmt.Errorf("fetch: %w", err)
		}
		for m := range batch.Messages() {
			if ctx.Err() != nil {
				// Not ours any more; the next consumer need not wait for AckWait.
				_ = m.Nak()
				continue
			}
			c.take(ctx, m)
		}
		if err := batch.Error(); err != nil {
			return fmt.Errorf("fetch: %w", err)
		}
	}
	return ctx.Err()
}
