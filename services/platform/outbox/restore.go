package outbox

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"github.com/jackc/pgx/v5"
	"github.com/nats-io/nats.go/jetstream"

	"breakshare.example/services/platform/bus"
)

// restore checks that the bus still has the last event of every co-op and
// publishes again the one it lost. The last is enough: a consumer that missed
// more sees the gap before it and asks the owner for the rest. Without this a
// bus that lost its newest messages would leave consumers behind until the
// next event.
//
// An event that only grew too old for the stream is published again too. A
// consumer that has it knows it; one that is new learns of a co-op that has
// been silent for long.
func (r *Relay) restore(ctx context.Context, conn *pgx.Conn) error {
	var last []bus.Event
	err := within(ctx, func(ctx context.Context) (err error) {
		last, err = latest(ctx, conn, r.service)
		return err
	})
	if err != nil || len(last) == 0 {
		return err
	}
	stream, err := r.bus.JetStream().Stream(ctx, bus.Stream)
	if err != nil {
		return &busError{fmt.Errorf("look for stream %s: %w", bus.Stream, err)}
	}
	for _, e := range last {
		held, err := heldSequence(ctx, stream, e.CoopID, r.service)
		if err != nil {
			return &busError{err}
		}
		if held >= e.Sequence {
			continue
		}
		r.log.Info("the bus does not hold the last event of a co-op; it is published again", "coop", e.CoopID, "bus_has", held, "outbox_has", e.Sequence)
		if err := within(ctx, func(ctx context.Context) error { return unmark(ctx, conn, e) }); err != nil {
			return err
		}
	}
	return nil
}

// heldSequence returns the sequence of the last event of a service and co-op
// that the stream holds; 0 when it holds none.
func heldSequence(ctx context.Context, stream jetstream.Stream, coopID, service string) (int64, error) {
	m, err := stream.GetLastMsgForSubject(ctx, "coop."+coopID+"."+service+".>")
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("read the last event of co-op %s from the bus: %w", coopID, err)
	}
	n, err := strconv.ParseInt(m.Header.Get(bus.HeaderSequence), 10, 64)
	if err != nil {
		return 0, nil // not one of ours: as good as lost
	}
	return n, nil
}
