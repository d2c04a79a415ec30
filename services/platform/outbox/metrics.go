package outbox

import (
	"fmt"

	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/metric"
)

// metrics are what an operator sees of a relay. Only the active relay records.
type metrics struct {
	waiting   metric.Int64Gauge
	lag       metric.Float64Gauge
	published metric.Int64Counter
	attrs     metric.MeasurementOption
}

func newMetrics(service string) (*metrics, error) {
	meter := otel.Meter("breakshare.example/services/platform/outbox")
	m := &metrics{attrs: metric.WithAttributes(attribute.String("service", service))}
	var err error
	if m.waiting, err = meter.Int64Gauge("breakshare.outbox.waiting",
		metric.WithDescription("Events written but not yet acknowledged by the bus"), metric.WithUnit("{event}")); err != nil {
		return nil, fmt.Errorf("breakshare.outbox.waiting: %w", err)
	}
	if m.lag, err = meter.Float64Gauge("breakshare.outbox.lag",
		metric.WithDescription("Age of the oldest event not yet acknowledged by the bus; 0 when none waits"), metric.WithUnit("s")); err != nil {
		return nil, fmt.Errorf("breakshare.outbox.lag: %w", err)
	}
	if m.published, err = meter.Int64Counter("breakshare.outbox.published",
		metric.WithDescription("Events acknowledged by the bus"), metric.WithUnit("{event}")); err != nil {
		return nil, fmt.Errorf("breakshare.outbox.published: %w", err)
	}
	return m, nil
}
