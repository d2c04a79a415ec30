package inbox_test

import (
	"errors"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5/pgconn"
	"google.golang.org/protobuf/types/known/wrapperspb"
	"pgregory.net/rapid"

	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/testkit"
)

func pgError(code string) error { return &pgconn.PgError{Code: code} }

func TestGapIsFilledFromTheOwner(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	s.log.page = 2 // the owner answers in pages
	start(t, s.consumer(t, nil))
	coop := testkit.Coop()
	s.tell(t, coop, 1, 1)
	for i := int64(2); i <= 6; i++ { // written, and lost by the bus
		s.write(t, coop, wrapperspb.Int64(i))
	}
	s.tell(t, coop, 7, 7)
	s.awaitSupply(t, coop, 1, 2, 3, 4, 5, 6, 7)
	s.awaitSettled(t)
	s.log.set(func(l *ownerLog) {
		if l.asked != 3 {
			t.Errorf("the owner was asked %d times, want 3 pages", l.asked)
		}
	})
}

// A brand-new consumer, on a bus that no longer holds the beginning.
func TestNewConsumerStartsFromTheOwnersFirstEvent(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop := testkit.Coop()
	for i := int64(1); i <= 3; i++ {
		s.write(t, coop, wrapperspb.Int64(i))
	}
	s.tell(t, coop, 4, 4)
	start(t, s.consumer(t, nil))
	s.awaitSupply(t, coop, 1, 2, 3, 4)
}

func TestMessagesOutOfOrderAreAppliedInOrder(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop := testkit.Coop()
	one, two, three := s.write(t, coop, wrapperspb.Int64(1)), s.write(t, coop, wrapperspb.Int64(2)), s.write(t, coop, wrapperspb.Int64(3))
	s.publish(t, three.Message())
	s.publish(t, one.Message())
	s.publish(t, two.Message())
	start(t, s.consumer(t, nil))
	s.awaitSupply(t, coop, 1, 2, 3)
	s.awaitSettled(t)
	if diff := cmp.Diff([]string{"applied", "applied", "applied"}, s.outcomes(t, coop)); diff != "" {
		t.Errorf("inbox (-want +got):\n%s", diff)
	}
}

func TestOwnerThatIsDownIsAskedUntilItAnswers(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	s.log.err = errors.New("connection refused")
	start(t, s.consumer(t, nil))
	coop, other := testkit.Coop(), testkit.Coop()
	s.write(t, coop, wrapperspb.Int64(1))
	s.tell(t, coop, 2, 2)
	s.tell(t, other, 11, 11)
	s.awaitSupply(t, other, 11) // other co-ops do not wait
	testkit.Eventually(t, "the owner was asked more often than MaxAttempts", func() bool {
		s.log.mu.Lock()
		defer s.log.mu.Unlock()
		return s.log.asked > 5
	})
	if got := s.supply(t, coop); len(got) != 0 {
		t.Fatalf("supply = %v, want nothing before the gap is filled", got)
	}
	s.log.set(func(l *ownerLog) { l.err = nil })
	s.awaitSupply(t, coop, 1, 2)
}

func TestEventsThatNobodyHasArePassedOverWithADeadLetter(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.consumer(t, nil))
	coop := testkit.Coop()
	s.tell(t, coop, 1, 1)
	s.awaitSupply(t, coop, 1)
	e := s.write(t, coop, wrapperspb.Int64(4))
	e.Sequence = 4 // 2 and 3 were never written
	s.log.set(func(l *ownerLog) { l.events[coop.CoopID][1].Sequence = 4 })
	s.publish(t, e.Message())
	s.awaitSupply(t, coop, 1, 4)
	letters := s.dead(t)
	if len(letters) != 1 || letters[0].Subject != "dead.order.harvest.sequence.missing" {
		t.Fatalf("dead letters: %+v", letters)
	}
	if got := letters[0].Header.Get("breakshare-dead-reason"); !strings.Contains(got, "events 2 to 3") {
		t.Errorf("reason = %q", got)
	}
}

// A poison event that comes by replay is buried as one that comes by the bus.
func TestPoisonEventInAGapIsBuried(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	_, table := failing(2, 1000, errBoom)
	start(t, s.consumer(t, func(o *inbox.Options) { o.Handlers = table }))
	coop := testkit.Coop()
	for i := int64(1); i <= 3; i++ {
		s.write(t, coop, wrapperspb.Int64(i))
	}
	s.tell(t, coop, 4, 4)
	s.awaitSupply(t, coop, 1, 3, 4)
	if diff := cmp.Diff([]string{"applied", "dead", "applied", "applied"}, s.outcomes(t, coop)); diff != "" {
		t.Errorf("inbox (-want +got):\n%s", diff)
	}
}

func TestBackoffDoublesUpToItsLimit(t *testing.T) {
	t.Parallel()
	var got []time.Duration
	for n := 1; n <= 5; n++ {
		got = append(got, inbox.Backoff(time.Second, 6*time.Second, n))
	}
	want := []time.Duration{time.Second, 2 * time.Second, 4 * time.Second, 6 * time.Second, 6 * time.Second}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("backoff (-want +got):\n%s", diff)
	}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 1<<40).Draw(t, "failures")
		if d := inbox.Backoff(time.Millisecond, time.Minute, n); d < time.Millisecond || d > time.Minute {
			t.Fatalf("backoff after %d failures is %v", n, d)
		}
	})
}

// A header cannot hold a line break, and PostgreSQL's text no NUL and no
// broken UTF-8.
func TestReasonFitsAHeaderAndAColumn(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		got := inbox.OneLine(string(rapid.SliceOf(rapid.Byte()).Draw(t, "text")))
		if strings.ContainsAny(got, "\r\n\x00") || !utf8.ValidString(got) {
			t.Fatalf("OneLine = %q", got)
		}
	})
	if got := inbox.OneLine(strings.Repeat("é", 5000)); len(got) > 2000 {
		t.Errorf("a long reason is %d bytes", len(got))
	}
}
