package server_test

import (
	"context"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/compostlot/internal/members"
	"breakshare.example/services/compostlot/internal/server"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/rpc/rpctest"
	"breakshare.example/services/platform/testkit"
)

// scheduling is the owner of farms, rooms and crops as these tests need it: three farms with
// two rooms each, and one crop. It embeds the client's interface for the calls it never gets.
type scheduling struct {
	schedulingv1.SchedulingServiceClient
	calls atomic.Int64
	down  atomic.Bool
}

func (s *scheduling) answer() error {
	s.calls.Add(1)
	if s.down.Load() {
		return fault.New(fault.Unavailable, "DOWN", "scheduling is down")
	}
	return nil
}

func (s *scheduling) GetCoop(context.Context, *schedulingv1.GetCoopRequest, ...grpc.CallOption) (*schedulingv1.Coop, error) {
	return &schedulingv1.Coop{Name: "Millbeck Growers", TimeZone: "Europe/Dublin", CurrencyCode: "EUR"}, s.answer()
}

var farmShares = map[string]int32{"alder": 1, "birch": 1, "cedar": 2}

func (s *scheduling) ListFarms(context.Context, *schedulingv1.ListFarmsRequest, ...grpc.CallOption) (*schedulingv1.ListFarmsResponse, error) {
	resp := &schedulingv1.ListFarmsResponse{}
	for id, shares := range farmShares {
		resp.Farms = append(resp.Farms, &schedulingv1.Farm{FarmId: id, MemberShares: shares})
	}
	return resp, s.answer()
}

func (s *scheduling) ListRooms(context.Context, *schedulingv1.ListRoomsRequest, ...grpc.CallOption) (*schedulingv1.ListRoomsResponse, error) {
	resp := &schedulingv1.ListRoomsResponse{}
	for id := range farmShares {
		resp.Rooms = append(resp.Rooms, &schedulingv1.Room{RoomId: id + "-1", FarmId: id}, &schedulingv1.Room{RoomId: id + "-2", FarmId: id})
	}
	return resp, s.answer()
}

func (s *scheduling) GetCalendar(_ context.Context, req *schedulingv1.GetCalendarRequest, _ ...grpc.CallOption) (*schedulingv1.GetCalendarResponse, error) {
	resp := &schedulingv1.GetCalendarResponse{}
	if req.GetFromDate() <= "2026-03-20" && "2026-03-20" <= req.GetToDate() {
		resp.Crops = []*schedulingv1.Crop{{CropId: "alder-1-20260320", RoomId: "alder-1", FarmId: "alder", FillDate: "2026-03-20", CompostGrams: 20_000_000, CompostPhase: typev1.CompostPhase_COMPOST_PHASE_TWO}}
	}
	return resp, s.answer()
}

// rig is the service behind its real interceptors, with a co-op of its own, and a client of it.
type rig struct {
	compostlotv1.CompostLotServiceClient
	server     *server.Server
	conn       *grpc.ClientConn
	pool       *pgxpool.Pool
	clock      *clock.Manual
	scheduling *scheduling
	coop       identity.Identity // a coordinator
}

var noon = time.Date(2026, time.March, 2, 12, 0, 0, 0, time.UTC)

// mostReadings is more than 20 probes log in a day by the minute.
const mostReadings = 30_000

func newRig(t testing.TB) *rig {
	t.Helper()
	return newRigOn(t, testkit.SharedPool(t, store.Schema()))
}

// newRigAlone is newRig on a database of its own, for tests of many callers at once and for
// measurements.
func newRigAlone(t testing.TB) *rig {
	t.Helper()
	return newRigOn(t, testkit.Pool(t, store.Schema()))
}

func newRigOn(t testing.TB, pool *pgxpool.Pool) *rig {
	t.Helper()
	r := &rig{pool: pool, clock: clock.NewManual(noon), scheduling: &scheduling{}, coop: testkit.Coop()}
	r.coop.Name = "Office"
	srv := server.New(server.Options{Pool: r.pool, Clock: r.clock, Members: members.NewDirectory(r.pool, r.scheduling), MaxReadings: mostReadings})
	r.server = srv
	conn := rpctest.Serve(t, server.Policy(), func(s grpc.ServiceRegistrar) { compostlotv1.RegisterCompostLotServiceServer(s, srv) })
	r.conn, r.CompostLotServiceClient = conn, compostlotv1.NewCompostLotServiceClient(conn)
	return r
}

func (r *rig) office(t testing.TB) context.Context { return testkit.Context(t, r.coop) }

func (r *rig) as(t testing.TB, role identity.Role, of string) context.Context {
	return testkit.Context(t, identity.Identity{CoopID: r.coop.CoopID, Role: role, FarmID: of, YardID: of, CustomerID: of, Name: string(role)})
}

func must[M any](t testing.TB) func(M, error) M {
	return func(m M, err error) M {
		t.Helper()
		if err != nil {
			t.Fatalf("%v, fields %v", err, fault.FromStatus(err).Fields)
		}
		return m
	}
}

// refused checks what a caller is told: the kind, the reason (empty: any) and the first field.
func refused(t testing.TB, err error, kind fault.Kind, reason, field string) *fault.Error {
	t.Helper()
	f := fault.FromStatus(err)
	if f == nil {
		t.Fatalf("accepted, want %v %s", kind, reason)
	}
	path := ""
	if len(f.Fields) > 0 {
		path = f.Fields[0].Path
	}
	if f.Kind != kind || (reason != "" && f.Reason != reason) || path != field {
		t.Fatalf("refused as %v %s at %q (%s), want %v %s at %q", f.Kind, f.Reason, path, f.Message, kind, reason, field)
	}
	return f
}

// yards saves two yards.
func (r *rig) yards(t testing.TB) {
	t.Helper()
	must[*compostlotv1.BatchSaveYardsResponse](t)(r.BatchSaveYards(r.office(t), &compostlotv1.BatchSaveYardsRequest{
		RequestId: ids.New(), Yards: []*compostlotv1.Yard{{YardId: "quarry", Name: "Quarry End"}, {YardId: "mill", Name: "Mill Lane"}},
	}))
}

func slot(id, ready string, kg int64) *compostlotv1.Slot {
	day, err := time.Parse(time.DateOnly, ready)
	if err != nil {
		panic(err)
	}
	return &compostlotv1.Slot{
		SlotId: id, YardId: "quarry", ReadyDate: ready, Phase: typev1.CompostPhase_COMPOST_PHASE_TWO, CapacityKg: kg,
		PriceMinorPerTonne: 9000, RequestCutoff: timestamppb.New(day.AddDate(0, 0, -5)),
	}
}

func (r *rig) publish(t testing.TB, slots ...*compostlotv1.Slot) {
	t.Helper()
	must[*compostlotv1.PublishSlotsResponse](t)(r.PublishSlots(r.office(t), &compostlotv1.PublishSlotsRequest{RequestId: ids.New(), Slots: slots}))
}

// asks is a request of a farm (the part of the room before the hyphen) for days of March.
func asks(id, room string, kg int64, from, to string) *compostlotv1.CompostRequest {
	farm, _, _ := strings.Cut(room, "-")
	return &compostlotv1.CompostRequest{
		CompostRequestId: id, FarmId: farm, RoomId: room, WantedKg: kg, EarliestDate: from, LatestDate: to,
		Phases: []typev1.CompostPhase{typev1.CompostPhase_COMPOST_PHASE_TWO},
	}
}

func (r *rig) ask(t testing.TB, requests ...*compostlotv1.CompostRequest) {
	t.Helper()
	must[*compostlotv1.BatchRequestCompostResponse](t)(r.BatchRequestCompost(r.office(t), &compostlotv1.BatchRequestCompostRequest{RequestId: ids.New(), CompostRequests: requests}))
}

func march(confirm bool) *compostlotv1.ShareOutRequest {
	return &compostlotv1.ShareOutRequest{RequestId: ids.New(), FromDate: "2026-03-01", ToDate: "2026-03-31", Confirm: confirm}
}

func (r *rig) slots(t testing.TB) []*compostlotv1.Slot {
	t.Helper()
	return must[*compostlotv1.ListSlotsResponse](t)(r.ListSlots(r.office(t), &compostlotv1.ListSlotsRequest{FromDate: "2026-01-01", ToDate: "2026-12-31"})).GetSlots()
}

func phaseTwo(id string, kg int64) *compostlotv1.Lot {
	return &compostlotv1.Lot{LotId: id, YardId: "quarry", Phase: typev1.CompostPhase_COMPOST_PHASE_TWO, StartedDate: "2026-02-01", MadeKg: kg}
}

func timeHours(h int) time.Duration { return time.Duration(h) * time.Hour }

func (r *rig) open(t testing.TB, lots ...*compostlotv1.Lot) {
	t.Helper()
	must[*compostlotv1.BatchOpenLotsResponse](t)(r.BatchOpenLots(r.office(t), &compostlotv1.BatchOpenLotsRequest{RequestId: ids.New(), Lots: lots}))
}

// told is one event as it stands in the outbox.
type told struct {
	Subject string // thing.what
	Of      string // aggregate
	Payload proto.Message
}

// events reads what the co-op's outbox tells, oldest first.
func (r *rig) events(t testing.TB) []told {
	t.Helper()
	var out []told
	err := pg.InReadTx(t.Context(), r.pool, r.coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT thing || '.' || what, aggregate, type, payload FROM outbox ORDER BY ordinal`)
		if err != nil {
			return err
		}
		var e told
		var name string
		var payload []byte
		_, err = pgx.ForEachRow(rows, []any{&e.Subject, &e.Of, &name, &payload}, func() error {
			kind, err := protoregistry.GlobalTypes.FindMessageByName(protoreflect.FullName(name))
			if err != nil {
				return err
			}
			e.Payload = kind.New().Interface()
			out = append(out, e)
			return proto.Unmarshal(payload, e.Payload)
		})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// eventsOf counts events by subject.
func (r *rig) eventsOf(t testing.TB) map[string]int {
	t.Helper()
	out := map[string]int{}
	for _, e := range r.events(t) {
		out[e.Subject]++
	}
	return out
}
