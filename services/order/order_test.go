package order_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order"
	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/config"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/platform/testkit"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m, testkit.IgnoreCluster()) }

// start brings the service up on real servers. Its peers are not there: events come by the bus.
func start(t *testing.T, b *bus.Bus, tokens *identity.Tokens, postgres string) (orderv1.OrderServiceClient, func()) {
	t.Helper()
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nowhere := lis.Addr().String()
	options := rpc.DialOptions{Tokens: tokens, Caller: "test", Deadline: time.Minute}
	peers := host.NewPeers(map[string]string{"harvest": nowhere, "scheduling": nowhere, "order": nowhere}, options)
	unit, err := host.Start(t.Context(), host.Setup{
		Name: "order", Listener: lis,
		Host: &host.Host{
			Log: slog.New(slog.DiscardHandler), Clock: clock.System(), Tokens: tokens, PostgresURL: postgres, Bus: b, Dial: peers.Dial,
		},
		Bind: func(ctx context.Context, h *host.Host) error { return order.Bind(ctx, h, order.Config{}) },
	})
	if err != nil {
		t.Fatal(err)
	}
	conn, err := peers.Dial("order")
	if err != nil {
		t.Fatal(err)
	}
	return orderv1.NewOrderServiceClient(conn), func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		if err := errors.Join(peers.Close(), unit.Stop(ctx)); err != nil {
			t.Error(err)
		}
	}
}

// expect publishes what harvest tells of a push, as its number-th event.
func expect(t *testing.T, b *bus.Bus, coop string, number int64, product string, grams int64) {
	t.Helper()
	body := &harvestv1.ExpectedPickPushed{ExpectedPick: &harvestv1.ExpectedPick{
		RoomId: "alder-1", FarmId: "alder", ProductId: product, Date: "2026-11-26", LowGrams: grams, LikelyGrams: grams, HighGrams: grams,
		Version: 1, PushedBy: "Grower", PushedAt: timestamppb.Now(), PickLotId: "alder-1-" + product + "-20261126",
	}}
	payload, err := proto.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	event := bus.Event{
		Parts: bus.Parts{CoopID: coop, Service: "harvest", Thing: "expected_pick", What: "pushed"},
		ID:    ids.New(), Type: string(body.ProtoReflect().Descriptor().FullName()), Sequence: number, Time: time.Now().UTC(), Payload: payload,
	}
	if _, err := b.JetStream().PublishMsg(t.Context(), event.Message()); err != nil {
		t.Fatal(err)
	}
}

// offered runs the day and returns the packs offered of a product.
func offered(t *testing.T, ctx context.Context, orders orderv1.OrderServiceClient, product string) int64 {
	t.Helper()
	stream, err := orders.RunMatch(ctx, &orderv1.RunMatchRequest{RequestId: ids.New(), DeliveryDate: "2026-11-26"})
	if err != nil {
		t.Fatal(err)
	}
	var m *orderv1.Match
	for {
		resp, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		m = resp.GetMatch()
	}
	for _, p := range m.GetProducts() {
		if p.GetProductId() == product {
			return p.GetOffered()
		}
	}
	return 0
}

// What harvest tells on the bus is supply for the match, also what it told while the service was
// down; and what was stored is there after a restart.
func TestServiceLivesOnTheBusAndThroughARestart(t *testing.T) {
	t.Parallel()
	b, postgres := testkit.Bus(t), testkit.Postgres(t)
	tokens := identity.NewTokens(bytes.Repeat([]byte("k"), identity.MinKeyBytes), clock.System())
	coop := testkit.Coop()
	ctx := testkit.Context(t, coop)
	orders, stop := start(t, b, tokens, postgres)
	product := func(id string) *orderv1.Product {
		return &orderv1.Product{ProductId: id, Name: "Product " + id, Species: "white mushroom", PackGrams: 500, ShelfLifeDays: 3}
	}
	saved, err := orders.BatchSaveProducts(ctx, &orderv1.BatchSaveProductsRequest{RequestId: ids.New(), Products: []*orderv1.Product{product("white"), product("oyster")}})
	if err != nil {
		t.Fatal(err)
	}
	expect(t, b, coop.CoopID, 1, "white", 4000)
	testkit.Eventually(t, "the push is supply", func() bool { return offered(t, ctx, orders, "white") == 8 })
	stop()

	expect(t, b, coop.CoopID, 2, "oyster", 1500)
	orders, stop = start(t, b, tokens, postgres)
	defer stop()
	testkit.Eventually(t, "what was told meanwhile is supply", func() bool { return offered(t, ctx, orders, "oyster") == 3 })
	listed, err := orders.ListProducts(ctx, &orderv1.ListProductsRequest{})
	if err != nil || len(listed.GetProducts()) != len(saved.GetProducts()) || offered(t, ctx, orders, "white") != 8 {
		t.Errorf("after the restart: %v, %v", listed, err)
	}
}

func TestConfigIsChecked(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name string
		json string
		says string // empty where it is good
	}{
		{"nothing set", `{}`, ""},
		{"all set", `{"max_connections": 20, "solve_within": "5s"}`, ""},
		{"one connection", `{"max_connections": 1}`, "max_connections is 1: give 2 to 1000"},
		{"too many", `{"max_connections": 1001}`, "max_connections is 1001"},
		{"no time", `{"solve_within": "10ms"}`, "solve_within is 10ms"},
		{"a name that nobody reads", `{"max_conns": 3}`, "max_conns"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			var cfg order.Config
			err := config.Decode("order.json", []byte(c.json), &cfg)
			if (err == nil) != (c.says == "") || (err != nil && !strings.Contains(err.Error(), c.says)) {
				t.Errorf("%v, want %q", err, c.says)
			}
		})
	}
}

// The sample of the DIMACS minimum-cost-flow format (First DIMACS Implementation Challenge,
// 1991), whose optimum is 14.
func TestFlowCommandSolvesAFile(t *testing.T) {
	t.Parallel()
	const sample = "c sample\np min 4 5\nn 1 4\nn 4 -4\na 1 2 0 4 2\na 1 3 0 2 2\na 2 3 0 2 1\na 2 4 0 3 3\na 3 4 0 5 1\n"
	dir := t.TempDir()
	solve := func(name, text string) (code int, out, errs string) {
		file := filepath.Join(dir, name)
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		var stdout, stderr bytes.Buffer
		code = order.Commands()["flow"](t.Context(), []string{file}, &stdout, &stderr)
		return code, stdout.String(), stderr.String()
	}
	code, out, errs := solve("sample.min", sample)
	if code != 0 || !strings.Contains(out, "s 14\n") || errs != "" {
		t.Errorf("code %d, %q, %q", code, out, errs)
	}
	code, out, errs = solve("bad.min", strings.Replace(sample, "n 4 -4", "n 4 -5", 1))
	if diff := cmp.Diff([]any{2, "", true}, []any{code, out, strings.Contains(errs, "infeasible")}); diff != "" {
		t.Errorf("%s (-want +got):\n%s", errs, diff)
	}
}
