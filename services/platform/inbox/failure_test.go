package inbox_test

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"github.com/nats-io/nats.go"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/testkit"
)

// failing returns a handler that writes first and then fails for one number as
// often as times says, and counts its calls for that number.
func failing(number int64, times int64, cause error) (*atomic.Int64, map[string]inbox.Handler) {
	calls := &atomic.Int64{}
	return calls, handlers(func(ctx context.Context, tx pgx.Tx, m inbox.Message, body *wrapperspb.Int64Value) error {
		if err := record(ctx, tx, m, body); err != nil {
			return err
		}
		if body.Value == number && calls.Add(1) <= times {
			return cause
		}
		return nil
	})
}

func TestFailedEventIsRolledBackAndAppliedLater(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	calls, table := failing(2, 2, errBoom) // the third attempt is the last and succeeds
	start(t, s.consumer(t, func(o *inbox.Options) { o.Handlers = table }))
	coop, other := testkit.Coop(), testkit.Coop()
	s.tell(t, coop, 1, 3)
	s.tell(t, other, 11, 11)
	s.awaitSupply(t, coop, 1, 2, 3)
	s.awaitSupply(t, other, 11)
	s.awaitSettled(t)
	if got := calls.Load(); got != 3 {
		t.Errorf("the handler was called %d times for event 2, want 3", got)
	}
	if n := len(s.dead(t)); n != 0 {
		t.Errorf("%d dead letters, want none", n)
	}
}

func TestPoisonEventIsBuriedAndTheNextFollow(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	calls, table := failing(2, 1000, errBoom)
	start(t, s.consumer(t, func(o *inbox.Options) { o.Handlers = table }))
	coop := testkit.Coop()
	s.tell(t, coop, 1, 4)
	s.awaitSupply(t, coop, 1, 3, 4)
	s.awaitSettled(t)
	if got := calls.Load(); got != 3 {
		t.Errorf("the handler was called %d times, want MaxAttempts, 3", got)
	}
	if diff := cmp.Diff([]string{"applied", "dead", "applied", "applied"}, s.outcomes(t, coop)); diff != "" {
		t.Errorf("inbox (-want +got):\n%s", diff)
	}
	reasons := column[string](t, s, coop, `SELECT reason FROM inbox WHERE outcome = 'dead'`)
	if len(reasons) != 1 || !strings.Contains(reasons[0], "no such room") {
		t.Errorf("reasons in the inbox: %q", reasons)
	}
	letters := s.dead(t)
	if len(letters) != 1 {
		t.Fatalf("%d dead letters, want 1", len(letters))
	}
	l, e := letters[0], s.log.events[coop.CoopID][1]
	if want := "dead.order.harvest.pick.recorded"; l.Subject != want {
		t.Errorf("subject = %s, want %s", l.Subject, want)
	}
	for header, want := range map[string]string{
		bus.HeaderDeadAttempts: "3", bus.HeaderDeadConsumer: service, bus.HeaderDeadCoop: coop.CoopID,
		bus.HeaderDeadSubject: e.Message().Subject, bus.HeaderID: e.ID, bus.HeaderSequence: "2", bus.HeaderType: e.Type,
	} {
		if got := l.Header.Get(header); got != want {
			t.Errorf("%s = %q, want %q", header, got, want)
		}
	}
	if got := l.Header.Get(bus.HeaderDeadReason); !strings.Contains(got, "no such room") {
		t.Errorf("reason = %q", got)
	}
	if !cmp.Equal(l.Data, e.Payload) {
		t.Error("the dead letter lacks the event's payload")
	}
}

func TestPermanentErrorIsBuriedAtOnce(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	calls, table := failing(1, 1000, inbox.Permanent(errBoom))
	start(t, s.consumer(t, func(o *inbox.Options) { o.Handlers = table }))
	coop := testkit.Coop()
	s.tell(t, coop, 1, 2)
	s.awaitSupply(t, coop, 2)
	if got := calls.Load(); got != 1 {
		t.Errorf("the handler was called %d times, want once", got)
	}
}

func TestPayloadOfAnotherKindIsBuried(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.consumer(t, nil))
	coop := testkit.Coop()
	e := s.write(t, coop, wrapperspb.Int64(1))
	e.Payload = []byte{0xff, 0xff}
	s.publish(t, e.Message())
	s.tell(t, coop, 2, 2)
	s.awaitSupply(t, coop, 2)
	if n := len(s.dead(t)); n != 1 {
		t.Errorf("%d dead letters, want 1", n)
	}
}

func TestPanicOfAHandlerIsAFailure(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.consumer(t, func(o *inbox.Options) {
		o.Handlers = handlers(func(ctx context.Context, tx pgx.Tx, m inbox.Message, body *wrapperspb.Int64Value) error {
			if body.Value == 1 {
				panic("index out of range")
			}
			return record(ctx, tx, m, body)
		})
	}))
	coop := testkit.Coop()
	s.tell(t, coop, 1, 2)
	s.awaitSupply(t, coop, 2)
	if got := s.dead(t)[0].Header.Get(bus.HeaderDeadReason); !strings.Contains(got, "index out of range") {
		t.Errorf("reason = %q", got)
	}
}

// What is down is no fault of the event's: it is tried far beyond MaxAttempts.
func TestOutageNeverBuriesAnEvent(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	calls, table := failing(1, 12, status.Error(codes.Unavailable, "harvest is down"))
	start(t, s.consumer(t, func(o *inbox.Options) { o.Handlers = table }))
	coop := testkit.Coop()
	s.tell(t, coop, 1, 2)
	s.awaitSupply(t, coop, 1, 2)
	if got := calls.Load(); got != 13 {
		t.Errorf("the handler was called %d times, want 13", got)
	}
	if n := len(s.dead(t)); n != 0 {
		t.Errorf("%d dead letters, want none", n)
	}
}

func TestMessageThatIsNoEventIsBuried(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.consumer(t, nil))
	coop := testkit.Coop()
	stray := nats.NewMsg(bus.Subject(coop.CoopID, source, "pick", "recorded"))
	stray.Data = []byte("stray")
	s.publish(t, stray)
	s.tell(t, coop, 1, 1)
	s.awaitSupply(t, coop, 1)
	s.awaitSettled(t)
	letters := s.dead(t)
	if len(letters) != 1 || letters[0].Subject != "dead.order.harvest.message.malformed" || string(letters[0].Data) != "stray" {
		t.Fatalf("dead letters: %+v", letters)
	}
}

// An owner whose database was put back gives a sequence a second time. The
// second event must not vanish as if it were a duplicate.
func TestSequenceGivenTwiceIsBuried(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.consumer(t, nil))
	coop := testkit.Coop()
	s.tell(t, coop, 1, 2)
	s.awaitSupply(t, coop, 1, 2)
	e := s.log.events[coop.CoopID][1]
	e.ID = ids.New()
	s.publish(t, e.Message())
	testkit.Eventually(t, "a dead letter", func() bool { return len(s.dead(t)) == 1 })
	s.tell(t, coop, 3, 3)
	s.awaitSupply(t, coop, 1, 2, 3)
	if got := s.dead(t)[0].Header.Get(bus.HeaderDeadReason); !strings.Contains(got, "was used by another event") {
		t.Errorf("reason = %q", got)
	}
}

func TestIsOutage(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		err  error
		want bool
	}{
		{errBoom, false},
		{inbox.Permanent(errBoom), false},
		{context.DeadlineExceeded, true},
		{status.Error(codes.Unavailable, "down"), true},
		{status.Error(codes.NotFound, "no room"), false},
		{pgError("40001"), true},
		{pgError("53300"), true},
		{pgError("57P01"), true},
		{pgError("57014"), false}, // a statement cancelled for its length
		{pgError("23505"), false},
		{errors.Join(errBoom, pgError("08006")), true},
	} {
		if got := inbox.IsOutage(tc.err); got != tc.want {
			t.Errorf("IsOutage(%v) = %v, want %v", tc.err, got, tc.want)
		}
	}
}
