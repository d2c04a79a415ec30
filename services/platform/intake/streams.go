package intake

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"breakshare.example/services/platform/bus"
)

const (
	// acknowledged is the stream in which the bus's MQTT listener keeps what was
	// published with QoS 1 or 2, before it acknowledges it. It keeps a message as
	// long as a consumer that asks for it has not had it, so each service's
	// consumer must stand before the first instrument connects.
	acknowledged = "$MQTT_msgs"
	// kept is the stream of what was published with QoS 0, or without MQTT.
	kept = "BREAKSHARE_READINGS"

	prefixAcknowledged = "$MQTT.msgs."

	// publishedQoS is the header in which the listener notes the QoS of a message.
	publishedQoS = "Nmqtt-Pub"

	keptAge   = 7 * 24 * time.Hour
	keptBytes = 256 << 20
	ackWait   = 30 * time.Second
)

// Services are those that take readings.
func Services() []string { return []string{"compostlot", "harvest"} }

// Ensure creates the streams and the durable consumers of services, or finds
// those that are there.
func Ensure(ctx context.Context, b *bus.Bus, services ...string) error {
	for _, s := range services {
		if _, err := ensure(ctx, b, s); err != nil {
			return err
		}
	}
	return nil
}

// ensure returns a service's consumers: of what was acknowledged, and of the rest.
func ensure(ctx context.Context, b *bus.Bus, service string) ([]jetstream.Consumer, error) {
	if err := bus.CheckService(service); err != nil {
		return nil, err
	}
	if err := ensureStreams(ctx, b.JetStream()); err != nil {
		return nil, err
	}
	own := root + ".*." + service + ".>"
	var out []jetstream.Consumer
	for _, c := range []struct{ stream, filter string }{{acknowledged, prefixAcknowledged + own}, {kept, own}} {
		consumer, err := b.JetStream().CreateOrUpdateConsumer(ctx, c.stream, jetstream.ConsumerConfig{
			Durable:       "readings_" + service,
			Description:   "Readings of instruments for " + service,
			FilterSubject: c.filter,
			DeliverPolicy: jetstream.DeliverAllPolicy,
			AckPolicy:     jetstream.AckExplicitPolicy,
			AckWait:       ackWait,
			MaxDeliver:    -1, // the bus would drop a message past a limit without a word
			MaxAckPending: 5000,
		})
		if err != nil {
			return nil, fmt.Errorf("consumer of readings for %s on stream %s: %w", service, c.stream, err)
		}
		out = append(out, consumer)
	}
	return out, nil
}

func ensureStreams(ctx context.Context, js jetstream.JetStream) error {
	// The listener makes its own stream at the first instrument, as here, and
	// uses the one it finds; a server with a listener of its own has one already.
	if _, err := js.Stream(ctx, acknowledged); errors.Is(err, jetstream.ErrStreamNotFound) {
		_, err = js.CreateStream(ctx, jetstream.StreamConfig{
			Name: acknowledged, Subjects: []string{prefixAcknowledged + ">"}, Storage: jetstream.FileStorage, Retention: jetstream.InterestPolicy,
		})
		if err != nil && !errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) {
			return fmt.Errorf("stream %s: %w", acknowledged, err)
		}
	} else if err != nil {
		return fmt.Errorf("stream %s: %w", acknowledged, err)
	}
	_, err := js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{
		Name:        kept,
		Description: "Readings of instruments that were published without acknowledgement",
		Subjects:    []string{root + ".>"},
		Storage:     jetstream.FileStorage,
		Retention:   jetstream.LimitsPolicy,
		Discard:     jetstream.DiscardOld,
		MaxAge:      keptAge,
		MaxBytes:    keptBytes,
	})
	if err != nil {
		return fmt.Errorf("stream %s: %w", kept, err)
	}
	return nil
}
