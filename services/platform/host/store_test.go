package host_test

import (
	"context"
	"testing"
	"testing/fstest"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/grpc"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/protobuf/types/known/wrapperspb"

	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/platform/testkit"
)

var larder = pg.Schema{Service: "larder", Migrations: fstest.MapFS{
	"00001_jar.sql": {Data: []byte(`-- +goose Up
CREATE TABLE jar (coop_id uuid NOT NULL, jar_id uuid NOT NULL, PRIMARY KEY (coop_id, jar_id));
SELECT coop_scoped('jar');
-- +goose Down
DROP TABLE jar;
`)},
}}

// larderUnit is a running service with nothing but a store.
func larderUnit(t *testing.T, b *bus.Bus, adminURL string, pause bool) (*host.Unit, *pgxpool.Pool, *grpc.ClientConn) {
	t.Helper()
	var pool *pgxpool.Pool
	u, err := host.Start(t.Context(), host.Setup{
		Name: "larder", Listener: listen(t, "127.0.0.1:0"),
		Host: &host.Host{
			Log: quiet(), Clock: clock.System(), Tokens: tokens(),
			PostgresURL: adminURL, Bus: b, PauseRelay: pause,
		},
		Bind: func(ctx context.Context, h *host.Host) (err error) {
			pool, err = h.Store(ctx, larder, 4)
			return err
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	conn, err := rpc.Dial(u.Addr().String(), rpc.DialOptions{Tokens: tokens(), Deadline: 20 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return u, pool, conn
}

// fill commits one event.
func fill(t *testing.T, pool *pgxpool.Pool, id identity.Identity) {
	t.Helper()
	err := pg.InTx(testkit.Context(t, id), pool, id.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		return outbox.Add(ctx, tx, outbox.Event{Thing: "jar", What: "filled", Payload: wrapperspb.String("morels")})
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestStoreServesPublishesAndCloses(t *testing.T) {
	t.Parallel()
	adminURL, b := testkit.Postgres(t), testkit.Bus(t)
	coop := testkit.Coop()
	asService := identity.Identity{CoopID: coop.CoopID, Role: identity.Service}

	// Paused: what is committed stays in the outbox, without a number.
	u, pool, conn := larderUnit(t, b, adminURL, true)
	fill(t, pool, coop)
	log := eventlogv1.NewEventLogServiceClient(conn)
	resp, err := log.ListEvents(testkit.Context(t, asService), &eventlogv1.ListEventsRequest{})
	if err != nil || len(resp.GetEvents()) != 0 {
		t.Errorf("a paused relay published %v (error %v)", resp.GetEvents(), err)
	}
	if _, err := log.ListEvents(testkit.Context(t, coop), &eventlogv1.ListEventsRequest{}); fault.KindOf(err) != fault.Forbidden {
		t.Errorf("a coordinator reads the event log: %v", err)
	}
	stop(t, u)
	if err := pool.Ping(context.Background()); err == nil {
		t.Error("the pool outlives its service")
	}

	// The same store under a relay: the next start publishes what was left.
	u, pool, conn = larderUnit(t, b, adminURL, false)
	fill(t, pool, coop)
	log = eventlogv1.NewEventLogServiceClient(conn)
	testkit.Eventually(t, "both events are numbered", func() bool {
		resp, err = log.ListEvents(testkit.Context(t, asService), &eventlogv1.ListEventsRequest{})
		return err == nil && len(resp.GetEvents()) == 2
	})
	for i, e := range resp.GetEvents() {
		if e.GetSequence() != int64(i+1) || e.GetThing() != "jar" || e.GetWhat() != "filled" {
			t.Errorf("event %d is %v", i, e)
		}
	}
	testkit.Eventually(t, "both events are on the bus", func() bool {
		stream, err := b.JetStream().Stream(t.Context(), bus.Stream)
		if err != nil {
			t.Fatal(err)
		}
		info, err := stream.Info(t.Context())
		return err == nil && info.State.Msgs == 2
	})
	health := healthv1.NewHealthClient(conn)
	got, err := health.Check(t.Context(), &healthv1.HealthCheckRequest{Service: "larder.postgres"})
	if err != nil || got.GetStatus() != healthv1.HealthCheckResponse_SERVING {
		t.Errorf("health of a sound store: %v, %v", got, err)
	}
	pool.Close()
	got, err = health.Check(t.Context(), &healthv1.HealthCheckRequest{})
	if err != nil || got.GetStatus() != healthv1.HealthCheckResponse_NOT_SERVING {
		t.Errorf("health without a store: %v, %v", got, err)
	}
	stop(t, u)
}

func TestStoreThatCannotOpen(t *testing.T) {
	t.Parallel()
	b := testkit.Bus(t)
	for name, setup := range map[string]struct {
		url   string
		conns int32
	}{
		"no server":      {"postgres://nobody@127.0.0.1:1/none", 4},
		"no connections": {testkit.Postgres(t), 0},
	} {
		u, err := host.Start(t.Context(), host.Setup{
			Name: "larder", Listener: listen(t, "127.0.0.1:0"),
			Host: &host.Host{Log: quiet(), Tokens: tokens(), PostgresURL: setup.url, Bus: b},
			Bind: func(ctx context.Context, h *host.Host) error {
				_, err := h.Store(ctx, larder, setup.conns)
				return err
			},
		})
		if u != nil || err == nil {
			t.Errorf("%s: %v, %v", name, u, err)
		}
	}
}
