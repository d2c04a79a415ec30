package scheduling_test

import (
	"context"
	"io"
	"log/slog"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/google/go-cmp/cmp"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/config"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/platform/testkit"
	"breakshare.example/services/scheduling"
)

// The bound service, on its own database and bus: what is planned over the call
// arrives on the bus, whole.
func TestBoundServiceTellsOnTheBus(t *testing.T) {
	t.Parallel()
	tokens := identity.NewTokens([]byte("a key that only this test knows of"), clock.System())
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	b := testkit.Bus(t)
	// The others are not there: what they tell is read from the bus.
	peers := host.NewPeers(map[string]string{"order": "127.0.0.1:1", "compostlot": "127.0.0.1:1"}, rpc.DialOptions{Tokens: tokens, Caller: "scheduling"})
	unit, err := host.Start(t.Context(), host.Setup{
		Name: "scheduling", Listener: lis,
		Host: &host.Host{Log: slog.New(slog.DiscardHandler), Clock: clock.System(), Tokens: tokens, PostgresURL: testkit.Postgres(t), Bus: b, Dial: peers.Dial},
		Bind: func(ctx context.Context, h *host.Host) error { return scheduling.Bind(ctx, h, scheduling.Config{}) },
	})
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
	coop := testkit.Coop()
	ctx := testkit.Context(t, coop)
	client := schedulingv1.NewSchedulingServiceClient(conn)
	if _, err := client.SaveFarm(ctx, &schedulingv1.SaveFarmRequest{RequestId: ids.New(), Farm: &schedulingv1.Farm{FarmId: "elm-end", Name: "Elm End", MemberShares: 1}}); err != nil {
		t.Fatal(err)
	}
	if _, err := client.SaveRoom(ctx, &schedulingv1.SaveRoomRequest{RequestId: ids.New(), Room: &schedulingv1.Room{
		RoomId: "elm-end-1", FarmId: "elm-end", Name: "House 1", AreaM2: 120, GrowingSystem: typev1.GrowingSystem_GROWING_SYSTEM_BAGS,
	}}); err != nil {
		t.Fatal(err)
	}
	crop, err := client.PlanCrop(ctx, &schedulingv1.PlanCropRequest{RequestId: ids.New(), Plan: &schedulingv1.CropPlan{
		RoomId: "elm-end-1", ProgrammeId: "oyster-bags", From: &schedulingv1.CropPlan_FillDate{FillDate: "2026-04-06"},
	}})
	if err != nil {
		t.Fatal(err)
	}
	got := &schedulingv1.CropPlanned{}
	next(t, b, bus.Subject(coop.CoopID, "scheduling", "crop", "planned"), got)
	if diff := cmp.Diff(&schedulingv1.CropPlanned{Crop: crop}, got, protocmp.Transform()); diff != "" {
		t.Errorf("told on the bus (-answer +event):\n%s", diff)
	}
}

// next reads the first message of a subject.
func next(t *testing.T, b *bus.Bus, subject string, into proto.Message) {
	t.Helper()
	consumer, err := b.JetStream().OrderedConsumer(t.Context(), bus.Stream, jetstream.OrderedConsumerConfig{FilterSubjects: []string{subject}})
	if err != nil {
		t.Fatal(err)
	}
	msg, err := consumer.Next(jetstream.FetchMaxWait(20 * time.Second))
	if err != nil {
		t.Fatalf("nothing on %s: %v", subject, err)
	}
	if err := proto.Unmarshal(msg.Data(), into); err != nil {
		t.Fatal(err)
	}
}

func TestConfig(t *testing.T) {
	t.Parallel()
	for connections, good := range map[int32]bool{0: true, 1: true, 1000: true, -1: false, 1001: false} {
		var r config.Report
		scheduling.Config{MaxConnections: connections}.Check(&r)
		if got := len(r.Problems()) == 0; got != good {
			t.Errorf("%d connections: %v", connections, r.Problems())
		}
	}
	var r config.Report
	if (scheduling.Config{MaxPlanSteps: -1}).Check(&r); len(r.Problems()) != 1 {
		t.Errorf("-1 steps: %v", r.Problems())
	}
}

func TestCommandsRefuseWhatTheyCannotRead(t *testing.T) {
	t.Parallel()
	var said strings.Builder
	if code := scheduling.Commands()["fillplan"](t.Context(), []string{t.TempDir() + "/none.json"}, io.Discard, &said); code != 2 || said.Len() == 0 {
		t.Errorf("a file that is not there: exit %d, %q", code, said.String())
	}
}
