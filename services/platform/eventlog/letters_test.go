package eventlog_test

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/wrapperspb"

	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	"breakshare.example/services/platform/eventlog"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/testkit"
)

// picky is a reader whose handler refuses one number for as long as cause is set, and the
// reader's own event log.
type picky struct {
	*stand
	cause  atomic.Pointer[error]
	client eventlogv1.EventLogServiceClient
}

func newPicky(t *testing.T, refused int64) *picky {
	t.Helper()
	p := &picky{stand: newStand(t)}
	p.refuse(errors.New("no such room"))
	handlers := map[string]inbox.Handler{}
	inbox.Register(handlers, func(ctx context.Context, tx pgx.Tx, m inbox.Message, body *wrapperspb.Int64Value) error {
		if _, err := tx.Exec(ctx, `INSERT INTO supply (coop_id, number) VALUES ($1, $2)`, m.CoopID, body.Value); err != nil {
			return err
		}
		if cause := p.cause.Load(); cause != nil && body.Value == refused {
			return inbox.Permanent(*cause)
		}
		if who := identity.Must(ctx); who.Role != identity.Service || who.CoopID != m.CoopID {
			return errors.New("the handler runs in another's name")
		}
		return nil
	})
	c, err := inbox.New(inbox.Options{Service: reader, Source: owner, Handlers: handlers, Pool: p.reader, Bus: p.bus, Log: quiet, Replay: eventlog.Replay(p.conn, owner)})
	if err != nil {
		t.Fatal(err)
	}
	log := eventlog.NewServer(p.reader)
	log.Watch(c)
	p.client = eventlogv1.NewEventLogServiceClient(serve(t, log))
	start(t, p.relay(t))
	start(t, c)
	return p
}

func (p *picky) refuse(cause error) { p.cause.Store(&cause) }
func (p *picky) relent()            { p.cause.Store(nil) }

func retry(eventID string) *eventlogv1.RetryDeadLetterRequest {
	return &eventlogv1.RetryDeadLetterRequest{RequestId: ids.New(), EventId: eventID}
}

func wantCode(t *testing.T, err error, code codes.Code, text string) {
	t.Helper()
	if status.Code(err) != code || !strings.Contains(status.Convert(err).Message(), text) {
		t.Errorf("got %v, want %v saying %q", err, code, text)
	}
}

func TestDeadLetterIsTakenInAfterAll(t *testing.T) {
	t.Parallel()
	p := newPicky(t, 2)
	coop, other := testkit.Coop(), testkit.Coop()
	p.tell(t, coop, 1, 4)
	p.awaitSupply(t, coop, []int64{1, 3, 4})
	ctx := as(t, coop, identity.Operator)

	list, err := p.client.ListDeadLetters(ctx, &eventlogv1.ListDeadLettersRequest{})
	if err != nil || len(list.GetDeadLetters()) != 1 {
		t.Fatalf("dead letters: %v, %v; want one", list, err)
	}
	letter := list.GetDeadLetters()[0]
	if letter.GetSource() != owner || letter.GetSequence() != 2 || letter.GetType() != "google.protobuf.Int64Value" || !strings.Contains(letter.GetReason(), "no such room") || !letter.GetBuriedAt().IsValid() {
		t.Errorf("dead letter = %v", letter)
	}
	standing, err := p.client.GetStanding(ctx, &eventlogv1.GetStandingRequest{})
	if err != nil {
		t.Fatal(err)
	}
	want := &eventlogv1.GetStandingResponse{Readings: []*eventlogv1.Reading{{Source: owner, LastSequence: 4, DeadLetters: 1}}}
	if diff := cmp.Diff(want, standing, protocmp.Transform()); diff != "" {
		t.Errorf("standing (-want +got):\n%s", diff)
	}

	// It fails again: nothing of it stays but the new reason.
	p.refuse(errors.New("the room is full"))
	_, err = p.client.RetryDeadLetter(ctx, retry(letter.GetEventId()))
	wantCode(t, err, codes.FailedPrecondition, "the room is full")
	list, err = p.client.ListDeadLetters(ctx, &eventlogv1.ListDeadLettersRequest{Limit: 1000})
	if err != nil || len(list.GetDeadLetters()) != 1 || !strings.Contains(list.GetDeadLetters()[0].GetReason(), "the room is full") {
		t.Errorf("after the second failure: %v, %v", list, err)
	}
	p.awaitSupply(t, coop, []int64{1, 3, 4})

	// Another co-op's operator neither sees nor touches it.
	if list, err := p.client.ListDeadLetters(as(t, other, identity.Operator), &eventlogv1.ListDeadLettersRequest{}); err != nil || len(list.GetDeadLetters()) != 0 {
		t.Errorf("another co-op sees %v, %v", list, err)
	}
	_, err = p.client.RetryDeadLetter(as(t, other, identity.Operator), retry(letter.GetEventId()))
	wantCode(t, err, codes.NotFound, letter.GetEventId())

	// Mended, it is taken in once, however often it is asked for.
	p.relent()
	once := retry(letter.GetEventId())
	for range 2 {
		res, err := p.client.RetryDeadLetter(ctx, once)
		if err != nil || !res.GetApplied() {
			t.Errorf("mended: %v, %v", res, err)
		}
	}
	res, err := p.client.RetryDeadLetter(ctx, retry(letter.GetEventId()))
	if err != nil || res.GetApplied() {
		t.Errorf("asked again: %v, %v; want it to say that it was taken in before", res, err)
	}
	p.awaitSupply(t, coop, []int64{1, 3, 4, 2})
	if list, err := p.client.ListDeadLetters(ctx, &eventlogv1.ListDeadLettersRequest{}); err != nil || len(list.GetDeadLetters()) != 0 {
		t.Errorf("it is still dead: %v, %v", list, err)
	}
	p.tell(t, coop, 5, 5)
	p.awaitSupply(t, coop, []int64{1, 3, 4, 2, 5})
}

// The owner's side of a lag: what it has numbered and what still waits.
func TestStandingOfTheOwner(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop := testkit.Coop()
	ctx := as(t, coop, identity.Operator)
	s.tell(t, coop, 1, 3)
	standing, err := s.client().GetStanding(ctx, &eventlogv1.GetStandingRequest{})
	if err != nil || standing.GetUnpublished() != 3 || !standing.GetOldestUnpublished().IsValid() || standing.GetLastSequence() != 0 {
		t.Errorf("before the relay: %v, %v", standing, err)
	}
	start(t, s.relay(t))
	s.awaitPublished(t, coop)
	standing, err = s.client().GetStanding(ctx, &eventlogv1.GetStandingRequest{})
	want := &eventlogv1.GetStandingResponse{LastSequence: 3}
	if diff := cmp.Diff(want, standing, protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("after the relay: %v (-want +got):\n%s", err, diff)
	}
}

func TestStateIsForTheOperatorAlone(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop := testkit.Coop()
	log := eventlog.NewServer(s.owner)
	for _, role := range identity.Roles() {
		ctx := as(t, coop, role)
		_, standing := log.GetStanding(ctx, &eventlogv1.GetStandingRequest{})
		_, list := log.ListDeadLetters(ctx, &eventlogv1.ListDeadLettersRequest{})
		_, again := log.RetryDeadLetter(ctx, retry(ids.New()))
		for what, err := range map[string]error{"GetStanding": standing, "ListDeadLetters": list, "RetryDeadLetter": again} {
			if refused := fault.KindOf(err) == fault.Forbidden; refused != (role != identity.Operator) {
				t.Errorf("%s as %s: %v", what, role, err)
			}
		}
	}
	_, err := log.ListDeadLetters(as(t, coop, identity.Operator), &eventlogv1.ListDeadLettersRequest{Limit: -1})
	if fault.KindOf(err) != fault.Invalid {
		t.Errorf("a negative limit: %v", err)
	}
}
