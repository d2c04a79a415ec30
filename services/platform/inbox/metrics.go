package inbox

import (
	"context"
	"fmt"
	"time"

	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/metric"
)

const scope = "breakshare.example/services/platform/inbox"

// metrics are what an operator sees of a consumer.
type metrics struct {
	taken    metric.Int64Counter
	failed   metric.Int64Counter
	dead     metric.Int64Counter
	replayed metric.Int64Counter
	delay    metric.Float64Histogram
	pair     []attribute.KeyValue
}

func newMetrics(service, source string) (*metrics, error) {
	meter := otel.Meter(scope)
	m := &metrics{pair: []attribute.KeyValue{attribute.String("service", service), attribute.String("source", source)}}
	for _, c := range []struct {
		into       *metric.Int64Counter
		name, text string
	}{
		{&m.taken, "breakshare.inbox.taken", "Events brought to their end, by outcome"},
		{&m.failed, "breakshare.inbox.failed", "Attempts that failed and are repeated"},
		{&m.dead, "breakshare.inbox.dead", "Events sent to the dead letters"},
		{&m.replayed, "breakshare.inbox.replayed", "Events taken from the owner's log because the bus lacked them"},
	} {
		var err error
		if *c.into, err = meter.Int64Counter(c.name, metric.WithDescription(c.text), metric.WithUnit("{event}")); err != nil {
			return nil, fmt.Errorf("%s: %w", c.name, err)
		}
	}
	var err error
	m.delay, err = meter.Float64Histogram("breakshare.inbox.delay",
		metric.WithDescription("From when an event happened to when it was applied"), metric.WithUnit("s"))
	if err != nil {
		return nil, fmt.Errorf("breakshare.inbox.delay: %w", err)
	}
	return m, nil
}

// add counts one; counters keep no context of the event.
func (m *metrics) add(c metric.Int64Counter) {
	c.Add(context.Background(), 1, metric.WithAttributes(m.pair...))
}

// count notes an event brought to its end.
func (m *metrics) count(o outcome, e Message) {
	ctx := context.Background()
	attrs := append([]attribute.KeyValue{attribute.String("outcome", string(o))}, m.pair...)
	m.taken.Add(ctx, 1, metric.WithAttributes(attrs...))
	switch o {
	case dead:
		m.add(m.dead)
	case applied:
		m.delay.Record(ctx, time.Since(e.Time).Seconds(), metric.WithAttributes(m.pair...))
	}
}
