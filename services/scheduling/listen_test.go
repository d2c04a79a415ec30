package scheduling_test

import (
	"context"
	"log/slog"
	"net"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/grpc"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/platform/testkit"
	"breakshare.example/services/scheduling"
)

// What order tells on the real bus becomes demand, although order answers no call.
func TestServiceListensToOrders(t *testing.T) {
	t.Parallel()
	tokens := identity.NewTokens([]byte("a key that only this test knows of"), clock.System())
	admin, b := testkit.Postgres(t), testkit.Bus(t)
	var owner *pgxpool.Pool
	start := func(name string, dial func(string) (*grpc.ClientConn, error), bind func(context.Context, *host.Host) error) *grpc.ClientConn {
		lis, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		unit, err := host.Start(t.Context(), host.Setup{Name: name, Listener: lis, Bind: bind, Host: &host.Host{
			Log: slog.New(slog.DiscardHandler), Clock: clock.System(), Tokens: tokens, PostgresURL: admin, Bus: b, Dial: dial,
		}})
		if err != nil {
			t.Fatal(err)
		}
		conn, err := rpc.Dial(unit.Addr().String(), rpc.DialOptions{Tokens: tokens, Deadline: 20 * time.Second})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := conn.Close(); err != nil {
				t.Error(err)
			}
			if err := unit.Stop(context.Background()); err != nil {
				t.Error(err)
			}
		})
		return conn
	}
	order := start("order", nil, func(ctx context.Context, h *host.Host) (err error) {
		owner, err = h.Store(ctx, pg.Schema{Service: "order"}, 4)
		return err
	})
	conn := start("scheduling", func(string) (*grpc.ClientConn, error) { return order, nil },
		func(ctx context.Context, h *host.Host) error { return scheduling.Bind(ctx, h, scheduling.Config{}) })

	coop := testkit.Coop()
	err := pg.InTx(testkit.Context(t, coop), owner, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		product := &orderv1.ProductSaved{Version: 1, Product: &orderv1.Product{ProductId: "oyster-1kg", Name: "Oyster", Species: "oyster mushroom", PackGrams: 1000, PackValueMinor: 1100}}
		if err := outbox.Add(ctx, tx, outbox.Event{Thing: "product", What: "saved", Aggregate: "oyster-1kg", Payload: product}); err != nil {
			return err
		}
		placed := &orderv1.OrderPlaced{Order: &orderv1.Order{
			OrderId: "a", DeliveryDate: time.Now().UTC().Format(time.DateOnly), Version: 1, Lines: []*orderv1.OrderLine{{ProductId: "oyster-1kg", Packs: 7}},
		}}
		return outbox.Add(ctx, tx, outbox.Event{Thing: "order", What: "placed", Aggregate: "a", Payload: placed})
	})
	if err != nil {
		t.Fatal(err)
	}
	client := schedulingv1.NewSchedulingServiceClient(conn)
	testkit.Eventually(t, "the order is reckoned with", func() bool {
		answer, err := client.GetDemand(testkit.Context(t, coop), &schedulingv1.GetDemandRequest{Weeks: 1})
		return err == nil && len(answer.GetProducts()) == 1 && answer.GetProducts()[0].GetWeeks()[0].GetOrderedGrams() == 7000
	})
}
