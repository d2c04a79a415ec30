package server_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoregistry"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/rpc/rpctest"
	"breakshare.example/services/platform/testkit"
	"breakshare.example/services/scheduling/internal/server"
	"breakshare.example/services/scheduling/internal/store"
)

// rig is the service behind its real interceptors, on a database of its own, and a
// client of it.
type rig struct {
	schedulingv1.SchedulingServiceClient
	conn   *grpc.ClientConn
	pool   *pgxpool.Pool
	clock  *clock.Manual
	server *server.Server
	coop   identity.Identity // a coordinator
}

var noon = time.Date(2026, time.March, 2, 12, 0, 0, 0, time.UTC)

func newRig(t testing.TB) *rig {
	t.Helper()
	r := &rig{pool: testkit.Pool(t, store.Schema()), clock: clock.NewManual(noon), coop: testkit.Coop()}
	srv, err := server.New(r.pool, r.clock, 1500)
	if err != nil {
		t.Fatal(err)
	}
	r.server = srv
	conn := rpctest.Serve(t, server.Policy(), func(s grpc.ServiceRegistrar) { schedulingv1.RegisterSchedulingServiceServer(s, srv) })
	r.conn, r.SchedulingServiceClient = conn, schedulingv1.NewSchedulingServiceClient(conn)
	return r
}

// office calls as the co-op's coordinator.
func (r *rig) office(t testing.TB) context.Context { return testkit.Context(t, r.coop) }

// grower calls as a grower of the farm.
func (r *rig) grower(t testing.TB, farmID string) context.Context {
	return testkit.Context(t, identity.Identity{CoopID: r.coop.CoopID, Role: identity.Grower, FarmID: farmID, Name: "Grower"})
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

// settle saves two farms with a room each, for shelves and for bulk phase II.
func (r *rig) settle(t testing.TB) {
	t.Helper()
	ctx := r.office(t)
	must[*schedulingv1.BatchSaveFarmsResponse](t)(r.BatchSaveFarms(ctx, &schedulingv1.BatchSaveFarmsRequest{
		RequestId: ids.New(), Farms: []*schedulingv1.Farm{farm("elm-end"), farm("gorse-hill")},
	}))
	must[*schedulingv1.BatchSaveRoomsResponse](t)(r.BatchSaveRooms(ctx, &schedulingv1.BatchSaveRoomsRequest{
		RequestId: ids.New(), Rooms: []*schedulingv1.Room{
			room("elm-end-1", "elm-end", typev1.GrowingSystem_GROWING_SYSTEM_SHELVES),
			room("gorse-hill-1", "gorse-hill", typev1.GrowingSystem_GROWING_SYSTEM_BULK_PHASE_TWO),
		},
	}))
}

func farm(id string) *schedulingv1.Farm {
	return &schedulingv1.Farm{FarmId: id, Name: "Farm " + id, Place: "Ballyfenn", MemberShares: 30, CarryCostMinorPerKg: 12}
}

func room(id, farmID string, system typev1.GrowingSystem) *schedulingv1.Room {
	return &schedulingv1.Room{RoomId: id, FarmId: farmID, Name: "House 1", AreaM2: 200, GrowingSystem: system}
}

func fill(roomID, programmeID, date string) *schedulingv1.CropPlan {
	return &schedulingv1.CropPlan{RoomId: roomID, ProgrammeId: programmeID, From: &schedulingv1.CropPlan_FillDate{FillDate: date}}
}

func firstPick(roomID, programmeID, date string) *schedulingv1.CropPlan {
	return &schedulingv1.CropPlan{RoomId: roomID, ProgrammeId: programmeID, From: &schedulingv1.CropPlan_FirstPickDate{FirstPickDate: date}}
}

func (r *rig) plan(t testing.TB, plan *schedulingv1.CropPlan) *schedulingv1.Crop {
	t.Helper()
	return must[*schedulingv1.Crop](t)(r.PlanCrop(r.office(t), &schedulingv1.PlanCropRequest{RequestId: ids.New(), Plan: plan}))
}

func (r *rig) record(t testing.TB, cropID string, kind schedulingv1.StageKind, date string) *schedulingv1.Crop {
	t.Helper()
	return must[*schedulingv1.Crop](t)(r.RecordStage(r.office(t), &schedulingv1.RecordStageRequest{RequestId: ids.New(), CropId: cropID, Kind: kind, Date: date}))
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
		out, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (told, error) {
			var e told
			var name string
			var payload []byte
			if err := row.Scan(&e.Subject, &e.Of, &name, &payload); err != nil {
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
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// refused checks that a call failed with the kind and reason, and named the field.
func refused(t testing.TB, err error, kind fault.Kind, reason, field string) *fault.Error {
	t.Helper()
	f := fault.FromStatus(err)
	if f == nil || f.Kind != kind || f.Reason != reason {
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

func subjects(events []told) []string {
	var out []string
	for _, e := range events {
		out = append(out, e.Subject+" "+e.Of)
	}
	return out
}

func diff[T any](t testing.TB, what string, want, got T, opts ...cmp.Option) {
	t.Helper()
	if d := cmp.Diff(want, got, opts...); d != "" {
		t.Errorf("%s (-want +got):\n%s", what, d)
	}
}
