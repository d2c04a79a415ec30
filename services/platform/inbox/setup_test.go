package inbox_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"go.uber.org/goleak"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m, testkit.IgnoreCluster()) }

const (
	service = "order"
	source  = "harvest"
)

// supply is the consumer's own read model: the effects of events, in the order
// they were applied.
var migrations = fstest.MapFS{"00001_supply.sql": {Data: []byte(`-- +goose Up
CREATE TABLE supply (
    coop_id uuid   NOT NULL,
    ordinal bigint NOT NULL GENERATED ALWAYS AS IDENTITY,
    number  bigint NOT NULL,
    PRIMARY KEY (coop_id, ordinal)
);
SELECT coop_scoped('supply');
-- +goose Down
DROP TABLE supply;
`)}}

// stand is a consuming service's database, a bus, and the log of the events
// that the source has written.
type stand struct {
	pool *pgxpool.Pool
	bus  *bus.Bus
	log  *ownerLog
}

func newStand(t *testing.T) *stand {
	t.Helper()
	return &stand{
		pool: testkit.Pool(t, pg.Schema{Service: service, Migrations: migrations}),
		bus:  testkit.Bus(t),
		log:  &ownerLog{events: map[string][]bus.Event{}},
	}
}

// ownerLog is the source's record of its events by co-op.
type ownerLog struct {
	mu     sync.Mutex
	events map[string][]bus.Event
	page   int   // most events per answer; 0 for all
	asked  int   // how often it was asked
	err    error // when it cannot answer
}

func (l *ownerLog) set(change func(l *ownerLog)) {
	l.mu.Lock()
	defer l.mu.Unlock()
	change(l)
}

func (l *ownerLog) replay(_ context.Context, coopID string, after, before int64) ([]inbox.Message, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.asked++
	if l.err != nil {
		return nil, l.err
	}
	var found []inbox.Message
	for _, e := range l.events[coopID] {
		if e.Sequence > after && e.Sequence < before && (l.page == 0 || len(found) < l.page) {
			found = append(found, inbox.Message{ID: e.ID, CoopID: coopID, Source: e.Service, Type: e.Type, Thing: e.Thing, What: e.What,
				Sequence: e.Sequence, Time: e.Time, Payload: e.Payload})
		}
	}
	return found, nil
}

// write puts the co-op's next event into the owner's log.
func (s *stand) write(t *testing.T, id identity.Identity, m proto.Message) bus.Event {
	t.Helper()
	payload, err := proto.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	s.log.mu.Lock()
	defer s.log.mu.Unlock()
	e := bus.Event{
		Parts: bus.Parts{CoopID: id.CoopID, Service: source, Thing: "pick", What: "recorded"}, ID: ids.New(),
		Type: string(m.ProtoReflect().Descriptor().FullName()), Sequence: int64(len(s.log.events[id.CoopID]) + 1), Time: time.Now(), Payload: payload,
	}
	s.log.events[id.CoopID] = append(s.log.events[id.CoopID], e)
	return e
}

func (s *stand) publish(t *testing.T, m *nats.Msg) {
	t.Helper()
	if _, err := s.bus.JetStream().PublishMsg(t.Context(), m); err != nil {
		t.Fatal(err)
	}
}

// tell writes and publishes picks with the numbers n to m.
func (s *stand) tell(t *testing.T, id identity.Identity, n, m int64) {
	t.Helper()
	for i := n; i <= m; i++ {
		s.publish(t, s.write(t, id, wrapperspb.Int64(i)).Message())
	}
}

// record is the handler of picks: it adds the number to supply.
func record(ctx context.Context, tx pgx.Tx, m inbox.Message, body *wrapperspb.Int64Value) error {
	_, err := tx.Exec(ctx, `INSERT INTO supply (coop_id, number) VALUES ($1, $2)`, m.CoopID, body.Value)
	return err
}

// handlers returns a table with one handler of picks.
func handlers(fn func(context.Context, pgx.Tx, inbox.Message, *wrapperspb.Int64Value) error) map[string]inbox.Handler {
	table := map[string]inbox.Handler{}
	inbox.Register(table, fn)
	return table
}

// consumer returns a consumer that is not started.
func (s *stand) consumer(t *testing.T, change func(*inbox.Options)) *inbox.Consumer {
	t.Helper()
	o := inbox.Options{
		Service: service, Source: source, Handlers: handlers(record), Pool: s.pool, Bus: s.bus, Replay: s.log.replay,
		MaxAttempts: 3, Backoff: time.Millisecond, MaxBackoff: 10 * time.Millisecond,
	}
	if change != nil {
		change(&o)
	}
	c, err := inbox.New(o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func start(t *testing.T, c *inbox.Consumer) *inbox.Consumer {
	t.Helper()
	if err := c.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stop(t, c) })
	<-c.Started()
	return c
}

func stop(t *testing.T, c *inbox.Consumer) {
	t.Helper()
	if err := c.Stop(context.Background()); err != nil {
		t.Error(err)
	}
}

// column reads one column of one co-op's rows.
func column[T any](t *testing.T, s *stand, id identity.Identity, sql string) []T {
	t.Helper()
	var got []T
	err := pg.InReadTx(t.Context(), s.pool, id.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, sql)
		if err != nil {
			return err
		}
		got, err = pgx.CollectRows(rows, pgx.RowTo[T])
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// supply returns the numbers applied, in order.
func (s *stand) supply(t *testing.T, id identity.Identity) []int64 {
	t.Helper()
	return column[int64](t, s, id, `SELECT number FROM supply ORDER BY ordinal`)
}

func (s *stand) awaitSupply(t *testing.T, id identity.Identity, want ...int64) {
	t.Helper()
	testkit.Eventually(t, fmt.Sprintf("supply %v", want), func() bool { return slices.Equal(s.supply(t, id), want) })
}

func (s *stand) cursor(t *testing.T, id identity.Identity) int64 {
	t.Helper()
	got := column[int64](t, s, id, `SELECT last_sequence FROM event_cursor`)
	if len(got) == 0 {
		return 0
	}
	return got[0]
}

// outcomes returns what the inbox says became of events, by sequence.
func (s *stand) outcomes(t *testing.T, id identity.Identity) []string {
	t.Helper()
	return column[string](t, s, id, `SELECT outcome FROM inbox ORDER BY sequence, received_at`)
}

// awaitSettled waits until the bus has the consumer's word on every message.
func (s *stand) awaitSettled(t *testing.T) {
	t.Helper()
	testkit.Eventually(t, "every message is acknowledged", func() bool {
		c, err := s.bus.JetStream().Consumer(t.Context(), bus.Stream, service+"_"+source)
		if err != nil {
			return false
		}
		info := c.CachedInfo()
		return info.NumAckPending == 0 && info.NumPending == 0
	})
}

// dead returns the dead letters in order.
func (s *stand) dead(t *testing.T) []*jetstream.RawStreamMsg {
	t.Helper()
	st, err := s.bus.JetStream().Stream(t.Context(), bus.DeadStream)
	if err != nil {
		t.Fatal(err)
	}
	var letters []*jetstream.RawStreamMsg
	for n := uint64(1); n <= st.CachedInfo().State.LastSeq; n++ {
		m, err := st.GetMsg(t.Context(), n)
		if err != nil {
			t.Fatal(err)
		}
		letters = append(letters, m)
	}
	return letters
}

var errBoom = errors.New("no such room")
