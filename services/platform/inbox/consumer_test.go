package inbox_test

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"github.com/nats-io/nats.go"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/testkit"
)

func TestEventsAreAppliedInOrderInTheirCoop(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	a, b := testkit.Coop(), testkit.Coop()
	s.tell(t, a, 1, 2) // before the consumer is there
	start(t, s.consumer(t, nil))
	s.tell(t, b, 11, 12)
	s.tell(t, a, 3, 3)
	s.awaitSupply(t, a, 1, 2, 3)
	s.awaitSupply(t, b, 11, 12)
	s.awaitSettled(t)
	if got := s.cursor(t, a); got != 3 {
		t.Errorf("cursor = %d, want 3", got)
	}
	if diff := cmp.Diff([]string{"applied", "applied", "applied"}, s.outcomes(t, a)); diff != "" {
		t.Errorf("inbox (-want +got):\n%s", diff)
	}
}

func TestHandlerSeesTheEventAndItsCoop(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	type seen struct {
		m     inbox.Message
		id    identity.Identity
		trace string
	}
	got := make(chan seen, 1)
	start(t, s.consumer(t, func(o *inbox.Options) {
		o.Handlers = handlers(func(ctx context.Context, _ pgx.Tx, m inbox.Message, body *wrapperspb.Int64Value) error {
			got <- seen{m, identity.Must(ctx), trace.SpanContextFromContext(ctx).TraceID().String()}
			return nil
		})
	}))
	coop := testkit.Coop()
	e := s.write(t, coop, wrapperspb.Int64(5))
	e.Trace, e.Aggregate = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01", "room 4"
	s.publish(t, e.Message())
	h := <-got
	want := inbox.Message{
		ID: e.ID, CoopID: coop.CoopID, Source: source, Type: "google.protobuf.Int64Value", Thing: "pick", What: "recorded",
		Aggregate: "room 4", Sequence: 1, Time: e.Time.UTC(), Trace: e.Trace, Payload: e.Payload,
	}
	if diff := cmp.Diff(want, h.m); diff != "" {
		t.Errorf("message (-want +got):\n%s", diff)
	}
	if h.id.CoopID != coop.CoopID || h.id.Role != identity.Service {
		t.Errorf("identity = %+v, want the co-op in the role of a service", h.id)
	}
	if h.trace != "0af7651916cd43dd8448eb211c80319c" {
		t.Errorf("trace = %s, want that of the change", h.trace)
	}
}

func TestEventPublishedTwiceIsAppliedOnce(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.consumer(t, nil))
	coop := testkit.Coop()
	first := s.write(t, coop, wrapperspb.Int64(1)).Message()
	s.publish(t, first)
	again := nats.NewMsg(first.Subject)
	again.Data, again.Header = first.Data, nats.Header{}
	for k, v := range first.Header {
		again.Header[k] = v
	}
	again.Header.Set(nats.MsgIdHdr, "past the window of duplicates")
	s.publish(t, again)
	s.tell(t, coop, 2, 2)
	s.publish(t, s.write(t, testkit.Coop(), wrapperspb.Int64(9)).Message())
	s.awaitSupply(t, coop, 1, 2)
	s.awaitSettled(t)
	if diff := cmp.Diff([]int64{1, 2}, s.supply(t, coop)); diff != "" {
		t.Errorf("supply (-want +got):\n%s", diff)
	}
	if n := len(s.dead(t)); n != 0 {
		t.Errorf("%d dead letters, want none", n)
	}
}

func TestEventWithoutHandlerMovesTheCursor(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.consumer(t, nil))
	coop := testkit.Coop()
	s.publish(t, s.write(t, coop, wrapperspb.String("nobody listens")).Message())
	s.tell(t, coop, 2, 2)
	s.awaitSupply(t, coop, 2)
	if diff := cmp.Diff([]string{"skipped", "applied"}, s.outcomes(t, coop)); diff != "" {
		t.Errorf("inbox (-want +got):\n%s", diff)
	}
}

// The transaction is committed and the process dies before the
// acknowledgement: the bus delivers again, nothing is applied again.
func TestCrashBetweenCommitAndAcknowledgement(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	short := func(o *inbox.Options) { o.AckWait = 100 * time.Millisecond }
	first := s.consumer(t, short)
	committed := make(chan struct{})
	first.StopAfterCommit(func(inbox.Message) error {
		close(committed)
		return errors.New("killed")
	})
	start(t, first)
	coop := testkit.Coop()
	s.tell(t, coop, 1, 1)
	<-committed
	stop(t, first)
	if diff := cmp.Diff([]int64{1}, s.supply(t, coop)); diff != "" {
		t.Fatalf("supply after the commit (-want +got):\n%s", diff)
	}
	second := s.consumer(t, short)
	var delivered atomic.Int64
	second.StopAfterCommit(func(m inbox.Message) error {
		if m.Sequence == 1 {
			delivered.Add(1)
		}
		return nil
	})
	start(t, second)
	testkit.Eventually(t, "the event is delivered again", func() bool { return delivered.Load() > 0 })
	s.tell(t, coop, 2, 2)
	s.awaitSupply(t, coop, 1, 2)
	s.awaitSettled(t)
}

func TestTwoConsumersOfOneServiceKeepTheOrder(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	for range 2 {
		start(t, s.consumer(t, func(o *inbox.Options) { o.Fetch = 1 }))
	}
	coop := testkit.Coop()
	var want []int64
	for i := int64(1); i <= 40; i++ {
		want = append(want, i)
	}
	s.tell(t, coop, 1, 40)
	s.awaitSupply(t, coop, want...)
	s.awaitSettled(t)
	if n := len(s.dead(t)); n != 0 {
		t.Errorf("%d dead letters, want none", n)
	}
}

func TestDeletedConsumerIsMadeAgain(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.consumer(t, nil))
	coop := testkit.Coop()
	s.tell(t, coop, 1, 2)
	s.awaitSupply(t, coop, 1, 2)
	if err := s.bus.JetStream().DeleteConsumer(t.Context(), bus.Stream, service+"_"+source); err != nil {
		t.Fatal(err)
	}
	s.tell(t, coop, 3, 3)
	s.awaitSupply(t, coop, 1, 2, 3)
	s.awaitSettled(t)
}

func TestDeletedStreamIsMadeAgain(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.consumer(t, nil))
	coop := testkit.Coop()
	s.tell(t, coop, 1, 2)
	s.awaitSupply(t, coop, 1, 2)
	if err := s.bus.JetStream().DeleteStream(t.Context(), bus.Stream); err != nil {
		t.Fatal(err)
	}
	testkit.Eventually(t, "the stream is back", func() bool {
		_, err := s.bus.JetStream().Stream(t.Context(), bus.Stream)
		return err == nil
	})
	s.tell(t, coop, 3, 3)
	s.awaitSupply(t, coop, 1, 2, 3)
}

func TestLifeOfAConsumer(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	stop(t, s.consumer(t, nil))
	c := start(t, s.consumer(t, nil))
	if err := c.Start(t.Context()); err == nil {
		t.Error("a second Start succeeded")
	}
	stop(t, c)
	stop(t, c)
	for name, o := range map[string]inbox.Options{
		"no pool":    {Service: service, Source: source, Bus: s.bus, Replay: s.log.replay},
		"no replay":  {Service: service, Source: source, Bus: s.bus, Pool: s.pool},
		"bad source": {Service: service, Source: "harvest.>", Bus: s.bus, Pool: s.pool, Replay: s.log.replay},
	} {
		if _, err := inbox.New(o); err == nil {
			t.Errorf("%s: New succeeded", name)
		}
	}
}
