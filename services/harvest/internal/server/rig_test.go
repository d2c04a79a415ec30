package server

import (
	"context"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoregistry"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/harvest/internal/subscriber"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/rpc/rpctest"
	"breakshare.example/services/platform/testkit"
)

// noon is when the tests' pushes are made.
var noon = time.Date(2026, time.November, 25, 12, 0, 0, 0, time.UTC)

// rig is the harvest server over a real database, behind the real interceptors.
type rig struct {
	harvestv1.HarvestServiceClient
	pool    *pgxpool.Pool
	conn    *grpc.ClientConn
	harvest *Server
	owners  *owners
	clock   *clock.Manual
}

// owners stand in for scheduling and order: they answer what the test puts in.
type owners struct {
	down  atomic.Bool
	asked atomic.Int64
	rooms []*schedulingv1.Room
	crops []*schedulingv1.Crop
	goods []*orderv1.Product
	ways  []*schedulingv1.Programme
}

func (o *owners) ListProgrammes(context.Context, *schedulingv1.ListProgrammesRequest, ...grpc.CallOption) (*schedulingv1.ListProgrammesResponse, error) {
	return &schedulingv1.ListProgrammesResponse{Programmes: o.ways}, o.call()
}

func (o *owners) call() error {
	o.asked.Add(1)
	if o.down.Load() {
		return fault.New(fault.Unavailable, "", "down")
	}
	return nil
}

func (o *owners) ListRooms(ctx context.Context, _ *schedulingv1.ListRoomsRequest, _ ...grpc.CallOption) (*schedulingv1.ListRoomsResponse, error) {
	if identity.Must(ctx).Role != identity.Service {
		return nil, fault.New(fault.Forbidden, "", "not asked as a service")
	}
	return &schedulingv1.ListRoomsResponse{Rooms: o.rooms}, o.call()
}

func (o *owners) GetCalendar(_ context.Context, req *schedulingv1.GetCalendarRequest, _ ...grpc.CallOption) (*schedulingv1.GetCalendarResponse, error) {
	resp := &schedulingv1.GetCalendarResponse{}
	for _, c := range o.crops {
		if c.GetFillDate() <= req.GetToDate() && c.GetFreeDate() > req.GetFromDate() {
			resp.Crops = append(resp.Crops, c)
		}
	}
	return resp, o.call()
}

func (o *owners) ListProducts(context.Context, *orderv1.ListProductsRequest, ...grpc.CallOption) (*orderv1.ListProductsResponse, error) {
	return &orderv1.ListProductsResponse{Products: o.goods}, o.call()
}

func newRig(t testing.TB) *rig {
	t.Helper()
	return newRigOn(t, testkit.SharedPool(t, store.Schema()))
}

// newRigOn is newRig over a pool of the caller's.
func newRigOn(t testing.TB, pool *pgxpool.Pool) *rig {
	t.Helper()
	r := &rig{pool: pool, owners: &owners{}, clock: clock.NewManual(noon)}
	r.harvest = New(r.pool, r.clock, Owners{r.owners, r.owners}, Rules{HorizonDays: 60, CutOff: 16 * time.Hour})
	r.conn = rpctest.Serve(t, Policy(), func(s grpc.ServiceRegistrar) { harvestv1.RegisterHarvestServiceServer(s, r.harvest) })
	r.HarvestServiceClient = harvestv1.NewHarvestServiceClient(r.conn)
	return r
}

// hear lets harvest take in events of another service.
func (r *rig) hear(t testing.TB, coop identity.Identity, source string, events ...proto.Message) {
	t.Helper()
	for _, e := range events {
		name := string(e.ProtoReflect().Descriptor().FullName())
		payload, err := proto.Marshal(e)
		if err != nil {
			t.Fatal(err)
		}
		as := identity.Identity{CoopID: coop.CoopID, Role: identity.Service}
		err = pg.InTx(testkit.Context(t, as), r.pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
			return subscriber.Sources()[source][name](ctx, tx, inbox.Message{CoopID: coop.CoopID, Type: name, Payload: payload})
		})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
	}
}

// told returns the events that a co-op's harvest told of, in order.
func (r *rig) told(t testing.TB, coop identity.Identity) []proto.Message {
	t.Helper()
	var out []proto.Message
	err := pg.InReadTx(t.Context(), r.pool, coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT type, payload FROM outbox ORDER BY ordinal`)
		if err != nil {
			return err
		}
		var name string
		var payload []byte
		_, err = pgx.ForEachRow(rows, []any{&name, &payload}, func() error {
			kind, err := protoregistry.GlobalTypes.FindMessageByURL(name)
			if err != nil {
				return err
			}
			m := kind.New().Interface()
			out = append(out, m)
			return proto.Unmarshal(payload, m)
		})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// names of the events told, in order.
func (r *rig) names(t testing.TB, coop identity.Identity) []string {
	t.Helper()
	var out []string
	for _, m := range r.told(t, coop) {
		out = append(out, string(m.ProtoReflect().Descriptor().Name()))
	}
	return out
}

// A small co-op: two rooms of Alder Brook, one of Hill End; white mushrooms in
// the first, oyster in the second, a planned white crop in the third.
func room(id, farm string) *schedulingv1.RoomSaved {
	return &schedulingv1.RoomSaved{Room: &schedulingv1.Room{RoomId: id, FarmId: farm, Name: id, AreaM2: 200}, Version: 1}
}

func crop(id, roomID, farm, species string, state schedulingv1.CropState, dates [3]string, version int64) *schedulingv1.Crop {
	return &schedulingv1.Crop{
		CropId: id, RoomId: roomID, FarmId: farm, Species: species, State: state,
		FillDate: dates[0], FirstPickDate: dates[1], FreeDate: dates[2], Version: version,
	}
}

const running = schedulingv1.CropState_CROP_STATE_RUNNING

func whiteCrop() *schedulingv1.Crop {
	return grown(crop("ab-1-20261001", "ab-1", "alder-brook", "white mushroom", running, [3]string{"2026-10-01", "2026-11-08", "2026-12-10"}, 3), "2026-10-21")
}

// grown adds to a white crop its steps, cased on a day, and how its programme
// says it bears.
func grown(c *schedulingv1.Crop, cased string) *schedulingv1.Crop {
	days := func(least, usual, most int64) *schedulingv1.Range {
		return &schedulingv1.Range{Least: least, Usual: usual, Most: most, Source: "practice"}
	}
	filled := c.GetFillDate()
	c.AreaM2, c.Bears = 200, nil
	c.Stages = []*schedulingv1.CropStage{
		{Kind: schedulingv1.StageKind_STAGE_KIND_FILLING, StartDate: filled, ActualStartDate: &filled},
		{Kind: schedulingv1.StageKind_STAGE_KIND_CASING, StartDate: cased, ActualStartDate: &cased},
		{Kind: schedulingv1.StageKind_STAGE_KIND_CROPPING, StartDate: c.GetFirstPickDate()},
	}
	c.Breaks = &schedulingv1.BreakProfile{
		After: schedulingv1.StageKind_STAGE_KIND_CASING, FirstPickDays: days(15, 18, 21), IntervalDays: days(7, 8, 10), WidthDays: days(3, 4, 5),
		Shares: &schedulingv1.Shares{PerMille: []int64{500, 330, 170}, Source: "practice"}, YieldGramsPerM2: days(16000, 22000, 30000),
	}
	for i, stage := range []typev1.PickStage{typev1.PickStage_PICK_STAGE_CLOSED, typev1.PickStage_PICK_STAGE_VEILED, typev1.PickStage_PICK_STAGE_OPEN} {
		c.Bears = append(c.Bears, &schedulingv1.Bearing{PickStage: stage, PerMille: []int64{700, 200, 100}[i], Source: "practice"})
	}
	c.Sources = map[string]*schedulingv1.Source{"practice": {Text: "common practice", Status: schedulingv1.SourceStatus_SOURCE_STATUS_COMMON_PRACTICE}}
	return c
}

func oysterCrop() *schedulingv1.Crop {
	return crop("ab-2-20261020", "ab-2", "alder-brook", "oyster mushroom", running, [3]string{"2026-10-20", "2026-11-15", "2026-12-20"}, 2)
}

func hillCrop() *schedulingv1.Crop {
	return grown(crop("he-1-20261005", "he-1", "hill-end", "white mushroom", running, [3]string{"2026-10-05", "2026-11-12", "2026-12-14"}, 2), "2026-10-25")
}

// staged is a product that is picked at a stage.
func staged(id string, stage typev1.PickStage) *orderv1.ProductSaved {
	p := product(id, "white mushroom")
	p.Product.PickStage = stage
	return p
}

func product(id, species string) *orderv1.ProductSaved {
	return &orderv1.ProductSaved{Product: &orderv1.Product{ProductId: id, Name: id, Species: species, PackGrams: 2000}, Version: 1}
}

// settle gives a new co-op its rooms, crops and products.
func (r *rig) settle(t testing.TB) identity.Identity {
	t.Helper()
	coop := testkit.Coop()
	r.hear(t, coop, "scheduling", room("ab-1", "alder-brook"), room("ab-2", "alder-brook"), room("he-1", "hill-end"),
		&schedulingv1.CropPlanned{Crop: whiteCrop()}, &schedulingv1.CropPlanned{Crop: oysterCrop()}, &schedulingv1.CropPlanned{Crop: hillCrop()})
	r.hear(t, coop, "order", product("white-2kg", "white mushroom"), product("oyster-1kg", "Oyster  Mushroom"),
		staged("white-flat-2kg", typev1.PickStage_PICK_STAGE_FLAT))
	return coop
}

func planned(c *schedulingv1.Crop) *schedulingv1.CropPlanned {
	return &schedulingv1.CropPlanned{Crop: c}
}

// grower of a farm in the co-op.
func grower(coop identity.Identity, farm string) identity.Identity {
	return identity.Identity{CoopID: coop.CoopID, Role: identity.Grower, FarmID: farm, Name: "Ida of " + farm}
}

func expect(roomID, productID, date string, low, likely, high int64) *harvestv1.ExpectedPick {
	return &harvestv1.ExpectedPick{RoomId: roomID, ProductId: productID, Date: date, LowGrams: low, LikelyGrams: likely, HighGrams: high}
}

func pushOf(list ...*harvestv1.ExpectedPick) *harvestv1.PushExpectedPicksRequest {
	return &harvestv1.PushExpectedPicksRequest{RequestId: ids.New(), ExpectedPicks: list}
}

func (r *rig) push(t testing.TB, who identity.Identity, list ...*harvestv1.ExpectedPick) []*harvestv1.ExpectedPick {
	t.Helper()
	resp, err := r.PushExpectedPicks(testkit.Context(t, who), pushOf(list...))
	if err != nil {
		t.Fatal(err)
	}
	return resp.GetExpectedPicks()
}

// refused checks the kind of an error and the fields that it names.
func refused(t testing.TB, err error, kind fault.Kind, paths ...string) {
	t.Helper()
	f := fault.FromStatus(err)
	var got []string
	for _, v := range f.Fields {
		got = append(got, v.Path)
	}
	if err == nil || f.Kind != kind || !slices.Equal(got, paths) {
		t.Errorf("got %v with fields %q, want kind %v with fields %q", err, got, kind, paths)
	}
}
