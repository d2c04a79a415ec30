package outbox_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/nats-io/nats.go/jetstream"
	"go.uber.org/goleak"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m, testkit.IgnoreCluster()) }

const service = "harvest"

// stand is a service's database and a bus.
type stand struct {
	relayURL string
	pool     *pgxpool.Pool // as the service
	bus      *bus.Bus
}

func newStand(t *testing.T) *stand {
	t.Helper()
	db := testkit.Prepared(t, pg.Schema{Service: service})
	return &stand{relayURL: db.RelayURL, pool: testkit.Open(t, db.ServiceURL), bus: testkit.Bus(t)}
}

// relay returns a relay that is not started. Its poll is so long that only
// notifications and nudges wake it, unless o says otherwise.
func (s *stand) relay(t *testing.T, o outbox.RelayOptions) *outbox.Relay {
	t.Helper()
	if o.Poll == 0 {
		o.Poll = time.Hour
	}
	if o.Retry == 0 {
		o.Retry = time.Millisecond
	}
	r, err := outbox.NewRelay(testkit.Open(t, s.relayURL), s.bus, service, nil, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func start(t *testing.T, r *outbox.Relay) *outbox.Relay {
	t.Helper()
	if err := r.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stop(t, r) })
	<-r.Started()
	return r
}

func stop(t *testing.T, r *outbox.Relay) {
	t.Helper()
	if err := r.Stop(context.Background()); err != nil {
		t.Error(err)
	}
}

func pick(n int) outbox.Event {
	return outbox.Event{Thing: "pick", What: "recorded", Aggregate: "room", Payload: wrapperspb.Int64(int64(n))}
}

// tell adds events n to m in a transaction each.
func (s *stand) tell(t *testing.T, id identity.Identity, n, m int) {
	t.Helper()
	for i := n; i <= m; i++ {
		if err := s.add(testkit.Context(t, id), pick(i)); err != nil {
			t.Fatal(err)
		}
	}
}

func (s *stand) add(ctx context.Context, e outbox.Event) error {
	return pg.InTx(ctx, s.pool, identity.Must(ctx).CoopID, func(ctx context.Context, tx pgx.Tx) error {
		return outbox.Add(ctx, tx, e)
	})
}

// row is what the outbox says of an event.
type row struct {
	ID        string
	Sequence  int64 // 0 when none
	Published bool
}

// rows returns a co-op's outbox in the order it was written.
func (s *stand) rows(t *testing.T, id identity.Identity) []row {
	t.Helper()
	var rows []row
	err := pg.InReadTx(t.Context(), s.pool, id.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		found, err := tx.Query(ctx, `SELECT id::text, coalesce(sequence, 0), published_at IS NOT NULL FROM outbox ORDER BY ordinal`)
		if err != nil {
			return err
		}
		rows, err = pgx.CollectRows(found, pgx.RowToStructByPos[row])
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// marked reports whether the co-op has n events and all are marked published.
func (s *stand) marked(t *testing.T, id identity.Identity, n int) bool {
	t.Helper()
	rows := s.rows(t, id)
	for _, r := range rows {
		if !r.Published {
			return false
		}
	}
	return len(rows) == n
}

// awaitMarked waits until marked.
func (s *stand) awaitMarked(t *testing.T, id identity.Identity, n int) {
	t.Helper()
	testkit.Eventually(t, fmt.Sprintf("%d events marked published", n), func() bool { return s.marked(t, id, n) })
}

// stream returns the bus's stream of events.
func (s *stand) stream(t *testing.T) jetstream.Stream {
	t.Helper()
	st, err := s.bus.JetStream().Stream(t.Context(), bus.Stream)
	if err != nil {
		t.Fatal(err)
	}
	return st
}

// onBus returns the events the bus holds, in its order.
func (s *stand) onBus(t *testing.T) []bus.Event {
	t.Helper()
	st := s.stream(t)
	state := st.CachedInfo().State
	var events []bus.Event
	for n := max(state.FirstSeq, 1); n <= state.LastSeq; n++ {
		m, err := st.GetMsg(t.Context(), n)
		if err != nil {
			t.Fatal(err)
		}
		e, err := bus.ParseEvent(m.Subject, m.Header, m.Data)
		if err != nil {
			t.Fatal(err)
		}
		events = append(events, e)
	}
	return events
}

// cutRelays ends every database session of the relay's role from outside.
func (s *stand) cutRelays(t *testing.T) {
	t.Helper()
	// A role may end its own sessions.
	conn, err := pgx.Connect(t.Context(), s.relayURL)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if _, err := conn.Exec(t.Context(), `
SELECT pg_terminate_backend(pid) FROM pg_stat_activity
WHERE usename = current_user AND datname = current_database() AND pid <> pg_backend_pid()`); err != nil {
		t.Fatal(err)
	}
}
