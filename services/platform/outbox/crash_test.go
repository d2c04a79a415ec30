package outbox_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/testkit"
)

// hang returns a hook that says when it is reached and then stands still until
// the relay is killed.
func hang() (reached chan struct{}, hook func(context.Context) error) {
	reached = make(chan struct{})
	var once sync.Once
	return reached, func(ctx context.Context) error {
		once.Do(func() { close(reached) })
		<-ctx.Done()
		return ctx.Err()
	}
}

func TestRelayKilledBetweenNumberingAndPublishing(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop := testkit.Coop()
	s.tell(t, coop, 1, 3)
	first := s.relay(t, outbox.RelayOptions{})
	reached, hook := hang()
	first.StopAfterNumbering(hook)
	start(t, first)
	<-reached
	before := s.rows(t, coop)
	stop(t, first)
	if n := len(s.onBus(t)); n != 0 {
		t.Fatalf("%d events on the bus before anything was published", n)
	}
	for i, r := range before {
		if r.Sequence != int64(i+1) || r.Published {
			t.Fatalf("row %d after numbering: %+v", i, r)
		}
	}
	s.tell(t, coop, 4, 4)
	start(t, s.relay(t, outbox.RelayOptions{}))
	s.awaitMarked(t, coop, 4)
	after := s.onBus(t)
	if len(after) != 4 {
		t.Fatalf("%d events on the bus, want 4", len(after))
	}
	for i, r := range before {
		if after[i].ID != r.ID || after[i].Sequence != r.Sequence {
			t.Errorf("event %d: %s with sequence %d, was numbered %+v", i, after[i].ID, after[i].Sequence, r)
		}
	}
}

func TestRelayKilledBetweenPublishingAndMarking(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	// A window so short that the bus has forgotten the first copies: the second
	// ones show that they carry the same ids and sequences.
	cfg := s.stream(t).CachedInfo().Config
	cfg.Duplicates = 100 * time.Millisecond
	if _, err := s.bus.JetStream().UpdateStream(t.Context(), cfg); err != nil {
		t.Fatal(err)
	}
	coop := testkit.Coop()
	s.tell(t, coop, 1, 3)
	first := s.relay(t, outbox.RelayOptions{})
	reached, hook := hang()
	first.StopAfterPublishing(hook)
	start(t, first)
	<-reached
	sent := s.onBus(t)
	if len(sent) != 3 {
		t.Fatalf("%d events on the bus, want 3", len(sent))
	}
	stop(t, first)
	for _, r := range s.rows(t, coop) {
		if r.Published {
			t.Fatalf("row %s is marked though the relay was killed before", r.ID)
		}
	}
	// Another co-op's event with the id of the last copy: the bus takes it only
	// when the window is over.
	probe := sent[2]
	probe.CoopID = testkit.Coop().CoopID
	testkit.Eventually(t, "the bus has forgotten the first copies", func() bool {
		ack, err := s.bus.JetStream().PublishMsg(t.Context(), probe.Message())
		return err == nil && !ack.Duplicate
	})
	start(t, s.relay(t, outbox.RelayOptions{}))
	s.awaitMarked(t, coop, 3)
	copies := map[string][]int64{}
	for _, e := range s.onBus(t) {
		if e.CoopID == coop.CoopID {
			copies[e.ID] = append(copies[e.ID], e.Sequence)
		}
	}
	want := map[string][]int64{}
	for i, e := range sent {
		want[e.ID] = []int64{e.Sequence, e.Sequence}
		if i == 2 {
			want[e.ID] = copies[e.ID] // the probe's copy may still shield it
		}
	}
	if diff := cmp.Diff(want, copies); diff != "" {
		t.Errorf("sequences by event id (-want +got):\n%s", diff)
	}
}

func TestRelayComesBackAfterALostConnection(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	r := start(t, s.relay(t, outbox.RelayOptions{}))
	coop := testkit.Coop()
	s.tell(t, coop, 1, 1)
	s.awaitMarked(t, coop, 1)
	s.cutRelays(t)
	s.tell(t, coop, 2, 2)
	s.awaitMarked(t, coop, 2)
	testkit.Eventually(t, "the relay is active again", r.Active)
}

func TestErrorInTheMiddleIsTriedAgain(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop := testkit.Coop()
	s.tell(t, coop, 1, 2)
	r := s.relay(t, outbox.RelayOptions{})
	failures := 0
	r.StopAfterPublishing(func(context.Context) error {
		if failures++; failures <= 2 {
			return errors.New("the connection broke")
		}
		return nil
	})
	start(t, r)
	s.awaitMarked(t, coop, 2)
	if diff := cmp.Diff([][2]int64{{1, 1}, {2, 2}}, sequences(t, s.onBus(t), coop)); diff != "" {
		t.Errorf("number and sequence (-want +got):\n%s", diff)
	}
}

// A bus that comes back without its newest messages gets the last one again.
func TestBusThatLostEventsGetsTheLastOneAgain(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop, quiet := testkit.Coop(), testkit.Coop()
	first := start(t, s.relay(t, outbox.RelayOptions{}))
	s.tell(t, coop, 1, 3)
	s.tell(t, quiet, 1, 1)
	s.awaitMarked(t, coop, 3)
	s.awaitMarked(t, quiet, 1)
	stop(t, first)
	s.emptyBus(t)
	start(t, s.relay(t, outbox.RelayOptions{}))
	s.awaitMarked(t, coop, 3)
	testkit.Eventually(t, "each co-op's last event is on the bus again", func() bool { return len(s.onBus(t)) == 2 })
	events := s.onBus(t)
	if diff := cmp.Diff([][2]int64{{3, 3}}, sequences(t, events, coop)); diff != "" {
		t.Errorf("number and sequence (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([][2]int64{{1, 1}}, sequences(t, events, quiet)); diff != "" {
		t.Errorf("quiet co-op, number and sequence (-want +got):\n%s", diff)
	}
}

// emptyBus makes the streams anew, as after the loss of the bus's folder.
func (s *stand) emptyBus(t *testing.T) {
	t.Helper()
	if err := s.bus.JetStream().DeleteStream(t.Context(), bus.Stream); err != nil {
		t.Fatal(err)
	}
	if err := s.bus.Ensure(t.Context()); err != nil {
		t.Fatal(err)
	}
}

// Writers of three co-ops and relays that are killed over and over: in the end
// every co-op's events are numbered 1 to n, each event once.
func TestSequencesStayGaplessThroughManyCrashes(t *testing.T) {
	t.Parallel()
	const each = 60
	s := newStand(t)
	coops := []identity.Identity{testkit.Coop(), testkit.Coop(), testkit.Coop()}
	for range 2 {
		r := s.relay(t, outbox.RelayOptions{Poll: 5 * time.Millisecond, Batch: 7})
		n := 0
		crash := func(context.Context) error {
			if n++; n%5 == 0 {
				return errors.New("killed")
			}
			return nil
		}
		r.StopAfterNumbering(crash)
		r.StopAfterPublishing(crash)
		start(t, r)
	}
	var writers sync.WaitGroup
	for _, id := range coops {
		writers.Go(func() {
			for i := 1; i <= each; i++ {
				if err := s.add(testkit.Context(t, id), pick(i)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	writers.Wait()
	for _, id := range coops {
		s.awaitMarked(t, id, each)
		seen := map[int64]string{}
		for _, r := range s.rows(t, id) {
			if other, ok := seen[r.Sequence]; ok {
				t.Errorf("sequence %d was given to %s and %s", r.Sequence, other, r.ID)
			}
			seen[r.Sequence] = r.ID
		}
		for n := int64(1); n <= each; n++ {
			if seen[n] == "" {
				t.Errorf("sequence %d is missing", n)
			}
		}
	}
	numbered := map[string]int64{}
	for _, e := range s.onBus(t) {
		if n, ok := numbered[e.ID]; ok && n != e.Sequence {
			t.Errorf("event %s went out with sequences %d and %d", e.ID, n, e.Sequence)
		}
		numbered[e.ID] = e.Sequence
	}
	if len(numbered) != len(coops)*each {
		t.Errorf("%d events on the bus, want %d", len(numbered), len(coops)*each)
	}
}
