package compostlot_test

import (
	"bytes"
	"context"
	"log/slog"
	"net"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"go.uber.org/goleak"
	"google.golang.org/grpc"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/compostlot"
	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/config"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/platform/testkit"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m, testkit.IgnoreCluster()) }

var tokens = identity.NewTokens(bytes.Repeat([]byte{7}, 64), clock.System())

// start brings a service up for the test.
func start(t *testing.T, name string, h *host.Host, bind func(context.Context, *host.Host) error) *grpc.ClientConn {
	t.Helper()
	conn, stop := run(t, name, h, bind)
	t.Cleanup(stop)
	return conn
}

// serve brings compostlot up with instruments until stop is called.
func serve(t *testing.T, admin string, b *bus.Bus, scheduling *grpc.ClientConn) (stop func(), client compostlotv1.CompostLotServiceClient) {
	t.Helper()
	h := &host.Host{PostgresURL: admin, Bus: b, Dial: func(string) (*grpc.ClientConn, error) { return scheduling, nil }, Instruments: true}
	conn, stop := run(t, "compostlot", h, func(ctx context.Context, h *host.Host) error { return compostlot.Bind(ctx, h, compostlot.Config{}) })
	return stop, compostlotv1.NewCompostLotServiceClient(conn)
}

// run brings a service up on a free port of this machine and dials it.
func run(t *testing.T, name string, h *host.Host, bind func(context.Context, *host.Host) error) (conn *grpc.ClientConn, stop func()) {
	t.Helper()
	h.Log, h.Clock, h.Tokens = slog.New(slog.DiscardHandler), clock.System(), tokens
	lis, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	unit, err := host.Start(t.Context(), host.Setup{Name: name, Host: h, Listener: lis, Bind: bind})
	if err != nil {
		t.Fatal(err)
	}
	conn, err = rpc.Dial(unit.Addr().String(), rpc.DialOptions{Tokens: tokens, Caller: "test"})
	if err != nil {
		t.Fatal(err)
	}
	return conn, func() {
		if err := conn.Close(); err != nil {
			t.Error(err)
		}
		if err := unit.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	}
}

// The whole service on a real database and bus: a farm and a room that scheduling tells of
// may ask for compost, although scheduling answers no call.
func TestServiceTakesInWhatSchedulingTells(t *testing.T) {
	t.Parallel()
	admin, b := testkit.Postgres(t), testkit.Bus(t)
	var owner *pgxpool.Pool
	scheduling := start(t, "scheduling", &host.Host{PostgresURL: admin, Bus: b}, func(ctx context.Context, h *host.Host) (err error) {
		owner, err = h.Store(ctx, pg.Schema{Service: "scheduling"}, 4)
		return err
	})
	conn := start(t, "compostlot", &host.Host{PostgresURL: admin, Bus: b, Dial: func(string) (*grpc.ClientConn, error) { return scheduling, nil }},
		func(ctx context.Context, h *host.Host) error { return compostlot.Bind(ctx, h, compostlot.Config{}) })
	coop := testkit.Coop()
	err := pg.InTx(testkit.Context(t, coop), owner, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		farm := &schedulingv1.FarmSaved{Farm: &schedulingv1.Farm{FarmId: "alder", MemberShares: 10}, Version: 1}
		if err := outbox.Add(ctx, tx, outbox.Event{Thing: "farm", What: "saved", Aggregate: "alder", Payload: farm}); err != nil {
			return err
		}
		room := &schedulingv1.RoomSaved{Room: &schedulingv1.Room{RoomId: "alder-1", FarmId: "alder"}, Version: 1}
		return outbox.Add(ctx, tx, outbox.Event{Thing: "room", What: "saved", Aggregate: "alder-1", Payload: room})
	})
	if err != nil {
		t.Fatal(err)
	}
	client := compostlotv1.NewCompostLotServiceClient(conn)
	req := &compostlotv1.RequestCompostRequest{RequestId: ids.New(), CompostRequest: &compostlotv1.CompostRequest{
		FarmId: "alder", RoomId: "alder-1", WantedKg: 100, EarliestDate: "2199-01-01", LatestDate: "2199-01-02",
		Phases: []typev1.CompostPhase{typev1.CompostPhase_COMPOST_PHASE_TWO},
	}}
	testkit.Eventually(t, "the farm is known", func() bool {
		saved, err := client.RequestCompost(testkit.Context(t, coop), req)
		return err == nil && saved.GetCompostRequestId() == "alder-1-21990101"
	})
}

func TestConfig(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		cfg  compostlot.Config
		want int // problems
	}{
		{"zero", compostlot.Config{}, 0},
		{"least", compostlot.Config{MaxConnections: 2, MaxReadingsPerStream: 1}, 0},
		{"most", compostlot.Config{MaxConnections: 1000, MaxReadingsPerStream: 10_000_000}, 0},
		{"too little", compostlot.Config{MaxConnections: 1, MaxReadingsPerStream: -1}, 2},
		{"too much", compostlot.Config{MaxConnections: 1001, MaxReadingsPerStream: 10_000_001}, 2},
	} {
		var r config.Report
		c.cfg.Check(&r)
		if got := r.Problems(); len(got) != c.want {
			t.Errorf("%s: %v, want %d problems", c.name, got, c.want)
		}
	}
}
