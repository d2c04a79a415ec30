package outbox_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

func unmarshal(e bus.Event, into proto.Message) error { return proto.Unmarshal(e.Payload, into) }

// sequences returns the payload's number and the sequence of a co-op's events,
// in the order of the bus.
func sequences(t *testing.T, events []bus.Event, id identity.Identity) [][2]int64 {
	t.Helper()
	var pairs [][2]int64
	for _, e := range events {
		var n wrapperspb.Int64Value
		if err := unmarshal(e, &n); err != nil {
			t.Fatal(err)
		}
		if e.CoopID == id.CoopID {
			pairs = append(pairs, [2]int64{n.Value, e.Sequence})
		}
	}
	return pairs
}

func TestRelayNumbersEachCoopWithoutGapsAndKeepsOrder(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	a, b := testkit.Coop(), testkit.Coop()
	for i := 1; i <= 3; i++ {
		s.tell(t, a, i, i)
		s.tell(t, b, 10+i, 10+i)
	}
	start(t, s.relay(t, outbox.RelayOptions{Batch: 2})) // several batches
	s.awaitMarked(t, a, 3)
	s.awaitMarked(t, b, 3)
	s.tell(t, a, 4, 4) // numbering goes on after what is published
	s.awaitMarked(t, a, 4)

	events := s.onBus(t)
	if diff := cmp.Diff([][2]int64{{1, 1}, {2, 2}, {3, 3}, {4, 4}}, sequences(t, events, a)); diff != "" {
		t.Errorf("co-op a, number and sequence (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([][2]int64{{11, 1}, {12, 2}, {13, 3}}, sequences(t, events, b)); diff != "" {
		t.Errorf("co-op b, number and sequence (-want +got):\n%s", diff)
	}
	e := events[0]
	if e.Service != service || e.Thing != "pick" || e.What != "recorded" || e.Aggregate != "room" || e.Type != "google.protobuf.Int64Value" {
		t.Errorf("event = %+v", e)
	}
	if age := time.Since(e.Time); age < 0 || age > time.Minute {
		t.Errorf("event's time is %v ago", age)
	}
}

// A row written first may become visible last. It must not be skipped, and it
// comes after what was numbered meanwhile.
func TestRowCommittedLateIsNotSkipped(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.relay(t, outbox.RelayOptions{}))
	coop := testkit.Coop()
	err := pg.InTx(testkit.Context(t, coop), s.pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		if err := outbox.Add(ctx, tx, pick(1)); err != nil {
			return err
		}
		s.tell(t, coop, 2, 2)
		s.awaitMarked(t, coop, 1)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	s.awaitMarked(t, coop, 2)
	if diff := cmp.Diff([][2]int64{{2, 1}, {1, 2}}, sequences(t, s.onBus(t), coop)); diff != "" {
		t.Errorf("number and sequence (-want +got):\n%s", diff)
	}
}

// addQuietly writes a row without the notification, as if it was lost.
func (s *stand) addQuietly(t *testing.T, id identity.Identity) {
	t.Helper()
	err := pg.InTx(t.Context(), s.pool, id.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `
INSERT INTO outbox (coop_id, id, thing, what, aggregate, type, payload, time)
VALUES ($1, gen_random_uuid(), 'pick', 'recorded', '', 'google.protobuf.Int64Value', '', now())`, id.CoopID)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestLostNotificationIsMadeUpForByPolling(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	start(t, s.relay(t, outbox.RelayOptions{Poll: 20 * time.Millisecond}))
	coop := testkit.Coop()
	s.addQuietly(t, coop)
	s.awaitMarked(t, coop, 1)
}

func TestNudgeWakesTheRelay(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	r := start(t, s.relay(t, outbox.RelayOptions{}))
	coop := testkit.Coop()
	s.addQuietly(t, coop)
	r.Nudge()
	s.awaitMarked(t, coop, 1)
}

func TestOfTwoRelaysOneIsActive(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	first := start(t, s.relay(t, outbox.RelayOptions{}))
	second := start(t, s.relay(t, outbox.RelayOptions{Poll: 10 * time.Millisecond}))
	if !first.Active() || second.Active() {
		t.Fatalf("active: first %v, second %v; want the first alone", first.Active(), second.Active())
	}
	coop := testkit.Coop()
	s.tell(t, coop, 1, 3)
	s.awaitMarked(t, coop, 3)
	stop(t, first)
	testkit.Eventually(t, "the second relay takes over", second.Active)
	s.tell(t, coop, 4, 5)
	s.awaitMarked(t, coop, 5)
	if diff := cmp.Diff([][2]int64{{1, 1}, {2, 2}, {3, 3}, {4, 4}, {5, 5}}, sequences(t, s.onBus(t), coop)); diff != "" {
		t.Errorf("number and sequence (-want +got):\n%s", diff)
	}
}

func TestRelayOfAnotherServiceDoesNotWait(t *testing.T) {
	t.Parallel()
	admin, b := testkit.Postgres(t), testkit.Bus(t)
	for _, name := range []string{"harvest", "order"} {
		access, err := pg.Prepare(t.Context(), admin, pg.Schema{Service: name})
		if err != nil {
			t.Fatal(err)
		}
		r, err := outbox.NewRelay(testkit.Open(t, access.RelayURL), b, name, nil, outbox.RelayOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if start(t, r); !r.Active() {
			t.Errorf("relay of %s is not active", name)
		}
	}
}

func TestLifeOfARelay(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	never := s.relay(t, outbox.RelayOptions{})
	stop(t, never)
	r := start(t, s.relay(t, outbox.RelayOptions{}))
	if err := r.Start(t.Context()); err == nil {
		t.Error("a second Start succeeded")
	}
	stop(t, r)
	stop(t, r)
	if r.Active() {
		t.Error("a stopped relay says it is active")
	}
	if _, err := outbox.NewRelay(s.pool, s.bus, "no.dots", nil, outbox.RelayOptions{}); err == nil {
		t.Error("a service name with a dot was accepted")
	}
}

// The relay's role must be able to do its work and no more.
func TestRelayRoleCannotChangeAnEvent(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	s.tell(t, testkit.Coop(), 1, 1)
	conn, err := pgx.Connect(t.Context(), s.relayURL)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	for _, sql := range []string{`UPDATE outbox SET payload = ''`, `DELETE FROM outbox`} {
		if _, err := conn.Exec(t.Context(), sql); err == nil {
			t.Errorf("%s succeeded", sql)
		}
	}
}
