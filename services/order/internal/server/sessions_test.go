package server_test

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/testing/protocmp"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/server"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/rpc/rpctest"
	"breakshare.example/services/platform/testkit"
)

// another is a further process of the service on the same database.
func (r *rig) another(t testing.TB) (*rig, *server.Server) {
	t.Helper()
	srv := server.New(server.Options{Pool: r.pool, Clock: r.clock, SolveWithin: time.Minute})
	conn := rpctest.Serve(t, server.Policy(), func(s grpc.ServiceRegistrar) { orderv1.RegisterOrderServiceServer(s, srv) })
	other := *r
	other.conn, other.OrderServiceClient = conn, orderv1.NewOrderServiceClient(conn)
	return &other, srv
}

// A confirmed match is made ready for the morning. The rebalances that go on from it come to the
// same as those of a service that was started anew, which begins from nothing.
func TestARebalanceComesToTheSameAfterARestart(t *testing.T) {
	t.Parallel()
	r := ready(t)
	for _, farm := range []string{"birch", "cedar"} {
		r.expect(t, farm, "white", tomorrow, 4000, 1)
	}
	r.place(t, wants("crown", tomorrow, "white", 9))
	must[*orderv1.PinAllocationResponse](t)(r.PinAllocation(r.office(t), &orderv1.PinAllocationRequest{RequestId: ids.New(), Pin: &orderv1.Pin{
		PinId: "crown", DeliveryDate: tomorrow, Kind: orderv1.PinKind_PIN_KIND_PACKS, OrderId: "crown-20261126", ProductId: "white", Packs: 5, Reason: "a wedding",
	}}))
	kept, srv := r.another(t)
	warmer := server.NewWarmer(srv, slog.New(slog.DiscardHandler))
	if err := warmer.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := warmer.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
	stood := kept.confirm(t, kept.matched(t, tomorrow))
	testkit.Eventually(t, "the match is ready to be rebalanced", func() bool { return srv.Ready(r.coop.CoopID, stood.GetMatchId()) })
	for version, grams := range []int64{2000, 0, 3000} {
		r.pick(t, "birch", "white", tomorrow, grams, int64(version+1), grams == 0)
		warm, err := kept.rebalance(t, r.office(t), &orderv1.RebalanceRequest{RequestId: ids.New(), DeliveryDate: tomorrow})
		if err != nil {
			t.Fatal(err)
		}
		if !srv.Ready(r.coop.CoopID, stood.GetMatchId()) {
			t.Fatal("what the rebalance ended with was not kept")
		}
		fresh, _ := r.another(t)
		cold, err := fresh.rebalance(t, r.office(t), &orderv1.RebalanceRequest{RequestId: ids.New(), DeliveryDate: tomorrow})
		if err != nil {
			t.Fatal(err)
		}
		if len(warm.GetFarms()) == 0 || warm.GetMatch().PinsCostMinor == nil {
			t.Errorf("a farm has less and nothing changed: %v", warm)
		}
		// How the solver went about it, and the number of the match, are its own.
		if d := cmp.Diff(cold, warm, protocmp.Transform(), protocmp.IgnoreFields(&orderv1.Match{}, "match_id", "proof")); d != "" {
			t.Errorf("(-after a restart +going on):\n%s", d)
		}
	}
}
