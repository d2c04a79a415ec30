package bus

import (
	"context"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"
)

// maxMessage bounds one message with its headers, in bytes.
const maxMessage = 1 << 20

// maxDeadBytes bounds the stream of dead letters on disk.
const maxDeadBytes = 256 << 20

// Ensure creates the streams or brings their limits up to the options. Every
// service calls it at its start; calling it again is harmless.
func (b *Bus) Ensure(ctx context.Context) error {
	for _, c := range []jetstream.StreamConfig{b.eventStream(), b.deadStream()} {
		if _, err := b.js.CreateOrUpdateStream(ctx, c); err != nil {
			return fmt.Errorf("bus: stream %s: %w", c.Name, err)
		}
	}
	return nil
}

func (b *Bus) eventStream() jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name:        Stream,
		Description: "Events of the services; the record of them is in each service's outbox",
		Subjects:    []string{"coop.>"},
		Storage:     jetstream.FileStorage,
		Retention:   jetstream.LimitsPolicy,
		Discard:     jetstream.DiscardOld,
		MaxAge:      b.opts.MaxAge,
		MaxBytes:    b.opts.MaxBytes,
		MaxMsgSize:  maxMessage,
		Duplicates:  b.opts.DedupeWindow,
		Replicas:    b.opts.StreamReplicas,
	}
}

// deadStream keeps dead letters without limit of age. When it is full it
// refuses new ones, so that a consumer waits and complains rather than lose
// one in silence.
func (b *Bus) deadStream() jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name:        DeadStream,
		Description: "Events that a service could not apply, each with its reason",
		Subjects:    []string{"dead.>"},
		Storage:     jetstream.FileStorage,
		Retention:   jetstream.LimitsPolicy,
		Discard:     jetstream.DiscardNew,
		MaxBytes:    maxDeadBytes,
		MaxMsgSize:  maxMessage,
		Duplicates:  b.opts.DedupeWindow,
		Replicas:    b.opts.StreamReplicas,
	}
}
