package server_test

import (
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/testing/protocmp"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/server"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/platform/rpc/rpctest"
	"breakshare.example/services/platform/testkit"
)

const (
	today     = "2026-11-25"
	tomorrow  = "2026-11-26"
	yesterday = "2026-11-24"
)

var noon = time.Date(2026, time.November, 25, 12, 0, 0, 0, time.UTC)

// rig is the service behind its real interceptors, on a database of its own, a client of it, and
// a harvest service that it can ask.
type rig struct {
	orderv1.OrderServiceClient
	conn    *grpc.ClientConn
	pool    *pgxpool.Pool
	clock   *clock.Manual
	coop    identity.Identity // a coordinator
	harvest *origins
}

func newRig(t testing.TB) *rig {
	t.Helper()
	r := &rig{pool: testkit.Pool(t, store.Schema()), clock: clock.NewManual(noon), coop: testkit.Coop(), harvest: &origins{}}
	asked := rpctest.Serve(t, rpc.Policy{
		harvestv1.HarvestService_TraceBack_FullMethodName:    {identity.Service},
		harvestv1.HarvestService_TraceForward_FullMethodName: {identity.Service},
	}, func(s grpc.ServiceRegistrar) { harvestv1.RegisterHarvestServiceServer(s, r.harvest) })
	conn := rpctest.Serve(t, server.Policy(), func(s grpc.ServiceRegistrar) {
		orderv1.RegisterOrderServiceServer(s, server.New(server.Options{Pool: r.pool, Clock: r.clock, Harvest: asked, SolveWithin: time.Minute}))
	})
	r.conn, r.OrderServiceClient = conn, orderv1.NewOrderServiceClient(conn)
	return r
}

// origins is a harvest service that knows where lots come from.
type origins struct {
	harvestv1.UnimplementedHarvestServiceServer
	back    map[string]*harvestv1.TraceBackResponse
	forward map[string]*harvestv1.TraceForwardResponse
}

func (o *origins) TraceBack(_ context.Context, req *harvestv1.TraceBackRequest) (*harvestv1.TraceBackResponse, error) {
	if resp := o.back[req.GetPickLotId()]; resp != nil {
		return resp, nil
	}
	return nil, fault.New(fault.NotFound, "", "there is no pick lot %q", req.GetPickLotId())
}

func (o *origins) TraceForward(_ context.Context, req *harvestv1.TraceForwardRequest) (*harvestv1.TraceForwardResponse, error) {
	if resp := o.forward[req.GetCompostLotId()]; resp != nil {
		return resp, nil
	}
	return nil, fault.New(fault.NotFound, "", "there is no compost lot %q", req.GetCompostLotId())
}

// office calls as the co-op's coordinator.
func (r *rig) office(t testing.TB) context.Context { return testkit.Context(t, r.coop) }

// coordinator calls as another coordinator.
func (r *rig) coordinator(t testing.TB, name string) context.Context {
	return testkit.Context(t, identity.Identity{CoopID: r.coop.CoopID, Role: identity.Coordinator, Name: name})
}

func (r *rig) grower(t testing.TB, farm string) context.Context {
	return testkit.Context(t, identity.Identity{CoopID: r.coop.CoopID, Role: identity.Grower, FarmID: farm, Name: "Grower"})
}

func (r *rig) buyer(t testing.TB, customer string) context.Context {
	return testkit.Context(t, identity.Identity{CoopID: r.coop.CoopID, Role: identity.Buyer, CustomerID: customer, Name: "Chef"})
}

func must[M any](t testing.TB) func(M, error) M {
	return func(m M, err error) M {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
}

func customer(id string, class int32) *orderv1.Customer {
	return &orderv1.Customer{CustomerId: id, Name: "Kitchen " + id, Place: "Ballyfenn", PriorityClass: class}
}

// product is sold in packs of one kilogram and keeps for two days.
func product(id string) *orderv1.Product {
	return &orderv1.Product{ProductId: id, Name: "Product " + id, Species: "white mushroom", PackGrams: 1000, PackValueMinor: 450, ShelfLifeDays: 2}
}

// settle saves three kitchens, of which the first goes first, and two products.
func (r *rig) settle(t testing.TB) {
	t.Helper()
	must[*orderv1.BatchSaveCustomersResponse](t)(r.BatchSaveCustomers(r.office(t), &orderv1.BatchSaveCustomersRequest{
		RequestId: ids.New(), Customers: []*orderv1.Customer{customer("anchor", 1), customer("bell", 2), customer("crown", 2)},
	}))
	must[*orderv1.BatchSaveProductsResponse](t)(r.BatchSaveProducts(r.office(t), &orderv1.BatchSaveProductsRequest{
		RequestId: ids.New(), Products: []*orderv1.Product{product("white"), product("oyster")},
	}))
}

// wants is an order of one line.
func wants(customer, day, product string, packs int64) *orderv1.Order {
	return &orderv1.Order{CustomerId: customer, DeliveryDate: day, Lines: []*orderv1.OrderLine{{ProductId: product, Packs: packs}}}
}

func (r *rig) place(t testing.TB, orders ...*orderv1.Order) []*orderv1.Order {
	t.Helper()
	return must[*orderv1.BatchPlaceOrdersResponse](t)(r.BatchPlaceOrders(r.office(t), &orderv1.BatchPlaceOrdersRequest{RequestId: ids.New(), Orders: orders})).GetOrders()
}

// in runs fn as an event handler of the co-op would run.
func (r *rig) in(t testing.TB, fn func(ctx context.Context, tx pgx.Tx) error) {
	t.Helper()
	if err := pg.InTx(t.Context(), r.pool, r.coop.CoopID, fn); err != nil {
		t.Fatal(err)
	}
}

// expect has a farm's room 1 expect so many grams of a product on a day, and returns the lot.
func (r *rig) expect(t testing.TB, farm, product, day string, grams, version int64) (lot string) {
	t.Helper()
	lot = farm + "-1-" + product + "-" + day
	r.in(t, func(ctx context.Context, tx pgx.Tx) error {
		return store.KeepExpected(ctx, tx, store.Expected{
			Lot: lot, Farm: farm, Room: farm + "-1", Product: product, Day: day,
			LowGrams: grams / 2, LikelyGrams: grams, HighGrams: grams * 2, Version: version, PushedBy: "Grower", PushedAt: noon,
		}, noon.Add(time.Duration(version)*time.Minute))
	})
	return lot
}

// pick has a farm's room 1 have picked so many grams of a product on a day, and returns the lot.
func (r *rig) pick(t testing.TB, farm, product, day string, grams, version int64, held bool) (lot string) {
	t.Helper()
	lot = farm + "-1-" + product + "-" + day
	r.in(t, func(ctx context.Context, tx pgx.Tx) error {
		l := store.PickLot{Lot: lot, Farm: farm, Room: farm + "-1", Product: product, Day: day, NetGrams: grams, Picked: grams > 0, Held: held, Version: version}
		if held {
			l.HoldReason = "compost lot is under suspicion"
		}
		return store.KeepPickLot(ctx, tx, l, noon)
	})
	return lot
}

// run matches a day and returns the steps and the match.
func (r *rig) run(t testing.TB, ctx context.Context, req *orderv1.RunMatchRequest) ([]orderv1.MatchStep, *orderv1.Match, error) {
	t.Helper()
	stream, err := r.RunMatch(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	var steps []orderv1.MatchStep
	var m *orderv1.Match
	for {
		resp, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return steps, m, nil
		}
		if err != nil {
			return steps, nil, err
		}
		steps, m = append(steps, resp.GetStep()), resp.GetMatch()
	}
}

// rebalance matches a day anew and returns the last message.
func (r *rig) rebalance(t testing.TB, ctx context.Context, req *orderv1.RebalanceRequest) (*orderv1.RebalanceResponse, error) {
	t.Helper()
	stream, err := r.Rebalance(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	var last *orderv1.RebalanceResponse
	for {
		resp, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return last, nil
		}
		if err != nil {
			return nil, err
		}
		last = resp
	}
}

// matched runs a day.
func (r *rig) matched(t testing.TB, day string) *orderv1.Match {
	t.Helper()
	_, m, err := r.run(t, r.office(t), &orderv1.RunMatchRequest{RequestId: ids.New(), DeliveryDate: day})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func (r *rig) confirm(t testing.TB, m *orderv1.Match) *orderv1.Match {
	t.Helper()
	return must[*orderv1.Match](t)(r.ConfirmMatch(r.office(t), &orderv1.ConfirmMatchRequest{RequestId: ids.New(), MatchId: m.GetMatchId(), Etag: m.GetEtag()}))
}

func (r *rig) dispatch(t testing.TB, farm, day string) *orderv1.DispatchNote {
	t.Helper()
	return must[*orderv1.DispatchNote](t)(r.Dispatch(r.grower(t, farm), &orderv1.DispatchRequest{RequestId: ids.New(), FarmId: farm, DeliveryDate: day}))
}

// told is one event as it stands in the outbox.
type told struct {
	Subject string // thing.what, and the aggregate
	Payload proto.Message
}

// events reads what the co-op's outbox tells, oldest first.
func (r *rig) events(t testing.TB) []told {
	t.Helper()
	var out []told
	r.in(t, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT thing || '.' || what || ' ' || aggregate, type, payload FROM outbox ORDER BY ordinal`)
		if err != nil {
			return err
		}
		out, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (told, error) {
			var e told
			var name string
			var payload []byte
			if err := row.Scan(&e.Subject, &name, &payload); err != nil {
				return e, err
			}
			kind, err := protoregistry.GlobalTypes.FindMessageByURL(name)
			if err != nil {
				return e, err
			}
			e.Payload = kind.New().Interface()
			return e, proto.Unmarshal(payload, e.Payload)
		})
		return err
	})
	return out
}

// subjects are the events after the first so many.
func (r *rig) subjects(t testing.TB, after int) []string {
	t.Helper()
	out := []string{}
	for _, e := range r.events(t)[after:] {
		out = append(out, e.Subject)
	}
	return out
}

// refused checks that a call failed with the kind and reason, and named the field.
func refused(t testing.TB, err error, kind fault.Kind, reason, field string) *fault.Error {
	t.Helper()
	f := fault.FromStatus(err)
	if f == nil || f.Kind != kind || (reason != "" && f.Reason != reason) {
		t.Fatalf("got %v, want %s %s", err, kind, reason)
	}
	for _, violation := range f.Fields {
		if violation.Path == field {
			return f
		}
	}
	if field != "" {
		t.Fatalf("fields %v of %v do not name %s", f.Fields, f, field)
	}
	return f
}

func diff(t testing.TB, what string, want, got any) {
	t.Helper()
	if d := cmp.Diff(want, got, protocmp.Transform()); d != "" {
		t.Errorf("%s (-want +got):\n%s", what, d)
	}
}
