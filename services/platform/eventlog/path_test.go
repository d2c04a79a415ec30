package eventlog_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/testkit"
)

// An event's whole way: outbox, relay, bus, inbox, read model.
func TestEventReachesTheReader(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.relay(t))
	start(t, s.consumer(t))
	coop, other := testkit.Coop(), testkit.Coop()
	s.tell(t, coop, 1, 3)
	s.tell(t, other, 1, 2)
	s.tell(t, coop, 4, 4)
	s.awaitSupply(t, coop, upTo(4))
	s.awaitSupply(t, other, upTo(2))
}

// The bus loses everything it had: the reader takes the rest from the owner.
func TestEventsLostByTheBusComeFromTheOwner(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop, silent := testkit.Coop(), testkit.Coop()
	relay := start(t, s.relay(t))
	s.tell(t, coop, 1, 4)
	s.tell(t, silent, 1, 3)
	s.awaitPublished(t, coop)
	s.awaitPublished(t, silent)
	stop(t, relay)
	if err := s.bus.JetStream().DeleteStream(t.Context(), bus.Stream); err != nil {
		t.Fatal(err)
	}
	if err := s.bus.Ensure(t.Context()); err != nil {
		t.Fatal(err)
	}
	start(t, s.consumer(t))
	start(t, s.relay(t))
	s.tell(t, coop, 5, 5) // a later event shows the gap
	s.awaitSupply(t, coop, upTo(5))
	s.awaitSupply(t, silent, upTo(3)) // without one, the relay does
}

// A reader that is new to an old owner takes the beginning from its log, over
// more than one page.
func TestNewReaderCatchesUp(t *testing.T) {
	t.Parallel()
	const old = 1100 // more than two pages
	s := newStand(t)
	coop := testkit.Coop()
	start(t, s.relay(t))
	s.tell(t, coop, 1, old)
	s.awaitPublished(t, coop)
	stream, err := s.bus.JetStream().Stream(t.Context(), bus.Stream)
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Purge(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.tell(t, coop, old+1, old+1)
	start(t, s.consumer(t))
	s.awaitSupply(t, coop, upTo(old+1))
	want := []int64{old + 1}
	if diff := cmp.Diff(want, numbers(t, s.reader, coop, `SELECT count(*) FROM inbox WHERE outcome = 'applied'`)); diff != "" {
		t.Errorf("inbox rows (-want +got):\n%s", diff)
	}
}

// BenchmarkEventPath measures events from the commit that tells of them to the
// commit that applies them, one reader, one co-op.
func BenchmarkEventPath(b *testing.B) {
	s := newStand(b)
	start(b, s.relay(b))
	start(b, s.consumer(b))
	coop := testkit.Coop()
	n := int64(0)
	for b.Loop() {
		n += 500
		s.tell(b, coop, n-499, n)
		testkit.Eventually(b, "the events are applied", func() bool {
			return numbers(b, s.reader, coop, `SELECT last_sequence FROM event_cursor UNION SELECT 0 ORDER BY 1 DESC LIMIT 1`)[0] == n
		})
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "events/s")
}
