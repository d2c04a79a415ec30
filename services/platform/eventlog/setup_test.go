package eventlog_test

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"net"
	"slices"
	"testing"
	"testing/fstest"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/types/known/wrapperspb"

	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/eventlog"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/platform/testkit"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m, testkit.IgnoreCluster()) }

const (
	owner  = "harvest"
	reader = "order"
)

// supply is the reader's read model.
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

var quiet = slog.New(slog.NewTextHandler(io.Discard, nil))

// stand is the owner of events with its event log served over gRPC, the reader
// of them, and the bus between.
type stand struct {
	owner, reader *pgxpool.Pool
	relayURL      string
	bus           *bus.Bus
	conn          *grpc.ClientConn
}

func newStand(t testing.TB) *stand {
	t.Helper()
	db := testkit.Prepared(t, pg.Schema{Service: owner})
	s := &stand{
		owner: testkit.Open(t, db.ServiceURL), relayURL: db.RelayURL,
		reader: testkit.Pool(t, pg.Schema{Service: reader, Migrations: migrations}), bus: testkit.Bus(t),
	}
	s.conn = serve(t, eventlog.NewServer(s.owner))
	return s
}

// serve serves the event log as a service does and returns a connection to it.
func serve(t testing.TB, log *eventlog.Server) *grpc.ClientConn {
	t.Helper()
	tokens := identity.NewTokens(bytes.Repeat([]byte{7}, 64), clock.System())
	server := rpc.NewServer(rpc.ServerOptions{Log: quiet, Tokens: tokens, Policy: eventlog.Policy()})
	eventlogv1.RegisterEventLogServiceServer(server, log)
	lis := bufconn.Listen(1 << 20)
	served := make(chan error, 1)
	go func() { served <- server.Serve(lis) }()
	conn, err := rpc.Dial("passthrough:///"+owner, rpc.DialOptions{
		Tokens: tokens, Caller: reader,
		Dialer: func(ctx context.Context, _ string) (net.Conn, error) { return lis.DialContext(ctx) },
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := conn.Close(); err != nil {
			t.Error(err)
		}
		if err := server.Stop(context.Background()); err != nil {
			t.Error(err)
		}
		if err := <-served; err != nil {
			t.Error(err)
		}
	})
	return conn
}

func (s *stand) client() eventlogv1.EventLogServiceClient {
	return eventlogv1.NewEventLogServiceClient(s.conn)
}

// runner is what relays and consumers have in common.
type runner interface {
	Start(context.Context) error
	Started() <-chan struct{}
	Stop(context.Context) error
}

func start[R runner](t testing.TB, r R) R {
	t.Helper()
	if err := r.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { stop(t, r) })
	<-r.Started()
	return r
}

func stop(t testing.TB, r runner) {
	t.Helper()
	if err := r.Stop(context.Background()); err != nil {
		t.Error(err)
	}
}

func (s *stand) relay(t testing.TB) *outbox.Relay {
	t.Helper()
	r, err := outbox.NewRelay(testkit.Open(t, s.relayURL), s.bus, owner, quiet, outbox.RelayOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (s *stand) consumer(t testing.TB) *inbox.Consumer {
	t.Helper()
	handlers := map[string]inbox.Handler{}
	inbox.Register(handlers, func(ctx context.Context, tx pgx.Tx, m inbox.Message, body *wrapperspb.Int64Value) error {
		_, err := tx.Exec(ctx, `INSERT INTO supply (coop_id, number) VALUES ($1, $2)`, m.CoopID, body.Value)
		return err
	})
	c, err := inbox.New(inbox.Options{
		Service: reader, Source: owner, Handlers: handlers, Pool: s.reader, Bus: s.bus, Log: quiet, Replay: eventlog.Replay(s.conn, owner),
	})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// tell adds events with the numbers n to m in one transaction.
func (s *stand) tell(t testing.TB, id identity.Identity, n, m int64) {
	t.Helper()
	err := pg.InTx(testkit.Context(t, id), s.owner, id.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		for i := n; i <= m; i++ {
			if err := outbox.Add(ctx, tx, outbox.Event{Thing: "pick", What: "recorded", Aggregate: "room 4", Payload: wrapperspb.Int64(i)}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// numbers reads a column of numbers of one co-op.
func numbers(t testing.TB, pool *pgxpool.Pool, id identity.Identity, sql string) []int64 {
	t.Helper()
	var got []int64
	err := pg.InReadTx(t.Context(), pool, id.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, sql)
		if err != nil {
			return err
		}
		got, err = pgx.CollectRows(rows, pgx.RowTo[int64])
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func (s *stand) supply(t testing.TB, id identity.Identity) []int64 {
	t.Helper()
	return numbers(t, s.reader, id, `SELECT number FROM supply ORDER BY ordinal`)
}

func (s *stand) awaitSupply(t testing.TB, id identity.Identity, want []int64) {
	t.Helper()
	testkit.Eventually(t, "the reader has the owner's events", func() bool { return slices.Equal(s.supply(t, id), want) })
}

// awaitPublished waits until every event of the co-op is marked published.
func (s *stand) awaitPublished(t testing.TB, id identity.Identity) {
	t.Helper()
	testkit.Eventually(t, "events are published", func() bool {
		return numbers(t, s.owner, id, `SELECT count(*) FROM outbox WHERE published_at IS NULL`)[0] == 0
	})
}

// upTo returns 1 to n.
func upTo(n int64) []int64 {
	var all []int64
	for i := int64(1); i <= n; i++ {
		all = append(all, i)
	}
	return all
}
