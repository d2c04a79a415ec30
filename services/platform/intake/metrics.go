package intake

import (
	"context"
	"fmt"

	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/metric"
)

// What became of messages.
const (
	outcomeStored  = "stored"
	outcomeRefused = "refused"
	outcomeFailed  = "failed" // and comes again
)

// metrics are what an operator sees of a consumer.
type metrics struct {
	messages metric.Int64Counter
	service  attribute.KeyValue
}

func newMetrics(service string) (*metrics, error) {
	counter, err := otel.Meter("breakshare.example/services/platform/intake").Int64Counter("breakshare.intake.messages",
		metric.WithDescription("Messages of instruments, by outcome"), metric.WithUnit("{message}"))
	if err != nil {
		return nil, fmt.Errorf("breakshare.intake.messages: %w", err)
	}
	return &metrics{messages: counter, service: attribute.String("service", service)}, nil
}

// count adds n messages; counters keep no context of the messages.
func (m *metrics) count(outcome string, n int) {
	if n > 0 {
		m.messages.Add(context.Background(), int64(n), metric.WithAttributes(m.service, attribute.String("outcome", outcome)))
	}
}
