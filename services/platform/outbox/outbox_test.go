package outbox_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

func TestAddRefuses(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop := testkit.Coop()
	ctx := testkit.Context(t, coop)
	add := func(ctx context.Context, e outbox.Event) error {
		return pg.InTx(ctx, s.pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error { return outbox.Add(ctx, tx, e) })
	}
	if err := add(t.Context(), pick(1)); !errors.Is(err, outbox.ErrNoCoop) {
		t.Errorf("without an identity: %v, want ErrNoCoop", err)
	}
	var subject *bus.SubjectProblem
	if err := add(ctx, outbox.Event{Thing: "pick.lot", What: "held", Payload: wrapperspb.Int64(1)}); !errors.As(err, &subject) || subject.Part != "thing" {
		t.Errorf("thing with a dot: %v, want a problem with the thing", err)
	}
	var large *outbox.TooLarge
	big := wrapperspb.String(strings.Repeat("a", bus.MaxPayload))
	if err := add(ctx, outbox.Event{Thing: "pick", What: "recorded", Payload: big}); !errors.As(err, &large) {
		t.Errorf("payload too large: %v, want *TooLarge", err)
	}
	if err := add(ctx, outbox.Event{Thing: "pick", What: "recorded"}); err == nil {
		t.Error("an event without payload was accepted")
	}
	if err := add(testkit.Context(t, testkit.Coop()), pick(1)); err == nil {
		t.Error("an event of another co-op than the transaction's was accepted")
	}
	if rows := s.rows(t, coop); len(rows) != 0 {
		t.Errorf("refused events left %d rows", len(rows))
	}
}

func TestEventGoesWithItsTransaction(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.relay(t, outbox.RelayOptions{}))
	coop := testkit.Coop()
	change := errors.New("the change is refused")
	err := pg.InTx(testkit.Context(t, coop), s.pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		if err := outbox.Add(ctx, tx, pick(1)); err != nil {
			return err
		}
		return change
	})
	if !errors.Is(err, change) {
		t.Fatal(err)
	}
	s.tell(t, coop, 2, 2)
	s.awaitMarked(t, coop, 1)
	events := s.onBus(t)
	if len(events) != 1 || events[0].Sequence != 1 {
		t.Fatalf("on the bus: %+v; want the committed event alone, with sequence 1", events)
	}
	var n wrapperspb.Int64Value
	if err := unmarshal(events[0], &n); err != nil || n.Value != 2 {
		t.Errorf("payload is %v, %v; want 2", n.Value, err)
	}
}

func TestTraceOfTheChangeTravelsWithTheEvent(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.relay(t, outbox.RelayOptions{}))
	provider := sdktrace.NewTracerProvider()
	coop := testkit.Coop()
	ctx, span := provider.Tracer("test").Start(testkit.Context(t, coop), "record pick")
	if err := s.add(ctx, pick(1)); err != nil {
		t.Fatal(err)
	}
	span.End()
	s.awaitMarked(t, coop, 1)
	want := "00-" + span.SpanContext().TraceID().String() + "-" + span.SpanContext().SpanID().String() + "-01"
	if got := s.onBus(t)[0].Trace; got != want {
		t.Errorf("traceparent = %q, want %q", got, want)
	}
}
