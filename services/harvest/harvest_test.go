package harvest

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"net"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"go.uber.org/goleak"
	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/config"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/rpc"
	"breakshare.example/services/platform/testkit"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m, testkit.IgnoreCluster()) }

func tokens() *identity.Tokens {
	return identity.NewTokens(bytes.Repeat([]byte("k"), identity.MinKeyBytes), clock.System())
}

// afternoon is when the tests' harvest lives: a push has a horizon.
var afternoon = time.Date(2026, time.November, 25, 14, 0, 0, 0, time.UTC)

func listen(t *testing.T) net.Listener {
	t.Helper()
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	return lis
}

// stand is what outlives a harvest: the database and the bus. The other
// services are away; only their events are there.
type stand struct {
	adminURL string
	bus      *bus.Bus
	peers    *host.Peers
	told     map[string]int64 // events told so far, by source
}

func newStand(t *testing.T) *stand {
	t.Helper()
	gone := listen(t)
	target := gone.Addr().String()
	if err := gone.Close(); err != nil {
		t.Fatal(err)
	}
	peers := host.NewPeers(map[string]string{"scheduling": target, "compostlot": target, "order": target},
		rpc.DialOptions{Tokens: tokens(), Caller: "harvest", Deadline: time.Second})
	t.Cleanup(func() { _ = peers.Close() })
	return &stand{adminURL: testkit.Postgres(t), bus: testkit.Bus(t), peers: peers, told: map[string]int64{}}
}

// start brings a harvest up and returns a client of it and how to stop it.
func (s *stand) start(t *testing.T, pauseRelay bool) (harvestv1.HarvestServiceClient, func()) {
	t.Helper()
	u, err := host.Start(t.Context(), host.Setup{
		Name: "harvest", Listener: listen(t),
		Host: &host.Host{
			Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Clock: clock.NewManual(afternoon), Tokens: tokens(),
			PostgresURL: s.adminURL, Bus: s.bus, Dial: s.peers.Dial, PauseRelay: pauseRelay,
		},
		Bind: func(ctx context.Context, h *host.Host) error { return Bind(ctx, h, Config{}) },
	})
	if err != nil {
		t.Fatal(err)
	}
	conn, err := rpc.Dial(u.Addr().String(), rpc.DialOptions{Tokens: tokens(), Deadline: 20 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	return harvestv1.NewHarvestServiceClient(conn), func() {
		_ = conn.Close()
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		defer cancel()
		if err := u.Stop(ctx); err != nil {
			t.Error(err)
		}
	}
}

// tell publishes an event of another service as its relay would.
func (s *stand) tell(t *testing.T, coop identity.Identity, source, thing, what string, body proto.Message) {
	t.Helper()
	payload, err := proto.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	s.told[source]++
	e := bus.Event{
		Parts: bus.Parts{CoopID: coop.CoopID, Service: source, Thing: thing, What: what},
		ID:    ids.New(), Type: string(body.ProtoReflect().Descriptor().FullName()),
		Sequence: s.told[source], Time: time.Now().UTC(), Payload: payload,
	}
	if _, err := s.bus.JetStream().PublishMsg(t.Context(), e.Message()); err != nil {
		t.Fatal(err)
	}
}

// pushed returns the expected picks that harvest has published for a co-op.
func (s *stand) pushed(t *testing.T, coop identity.Identity) (out []*harvestv1.ExpectedPick) {
	t.Helper()
	stream, err := s.bus.JetStream().Stream(t.Context(), bus.Stream)
	if err != nil {
		t.Fatal(err)
	}
	subject := bus.Subject(coop.CoopID, "harvest", "expected_pick", "pushed")
	for next := uint64(1); ; {
		m, err := stream.GetMsg(t.Context(), next, jetstream.WithGetMsgSubject(subject))
		if err != nil {
			return out
		}
		e := &harvestv1.ExpectedPickPushed{}
		if err := proto.Unmarshal(m.Data, e); err != nil {
			t.Fatal(err)
		}
		out, next = append(out, e.GetExpectedPick()), m.Sequence+1
	}
}

// The service closes the day at the cut-off by itself, and lets the forecast
// stand in on the bus.
func TestTheDayClosesByItself(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop := testkit.Coop()
	s.tell(t, coop, "scheduling", "coop", "saved", &schedulingv1.CoopSaved{Coop: &schedulingv1.Coop{Name: "Stillwater", TimeZone: "Asia/Tokyo", CurrencyCode: "JPY"}, Version: 1})
	s.tell(t, coop, "scheduling", "room", "saved", &schedulingv1.RoomSaved{Room: &schedulingv1.Room{RoomId: "ab-1", FarmId: "alder-brook", AreaM2: 200}, Version: 1})
	days := func(least, usual, most int64) *schedulingv1.Range {
		return &schedulingv1.Range{Least: least, Usual: usual, Most: most}
	}
	cased := "2026-11-06"
	s.tell(t, coop, "scheduling", "crop", "planned", &schedulingv1.CropPlanned{Crop: &schedulingv1.Crop{
		CropId: "ab-1-20261020", RoomId: "ab-1", FarmId: "alder-brook", Species: "white mushroom", State: schedulingv1.CropState_CROP_STATE_RUNNING,
		FillDate: "2026-10-20", FirstPickDate: "2026-11-24", FreeDate: "2026-12-24", AreaM2: 200, Version: 1,
		Stages: []*schedulingv1.CropStage{{Kind: schedulingv1.StageKind_STAGE_KIND_CASING, StartDate: cased, ActualStartDate: &cased}},
		Breaks: &schedulingv1.BreakProfile{
			After: schedulingv1.StageKind_STAGE_KIND_CASING, FirstPickDays: days(15, 18, 21), IntervalDays: days(7, 8, 10), WidthDays: days(3, 4, 5),
			Shares: &schedulingv1.Shares{PerMille: []int64{500, 330, 170}}, YieldGramsPerM2: days(16000, 22000, 30000),
		},
	}})
	s.tell(t, coop, "order", "product", "saved", &orderv1.ProductSaved{Product: &orderv1.Product{ProductId: "white-2kg", Species: "white mushroom"}, Version: 1})
	client, stop := s.start(t, false)
	testkit.Eventually(t, "everything is heard", func() bool {
		f, err := client.ForecastSupply(testkit.Context(t, coop), &harvestv1.ForecastSupplyRequest{})
		return err == nil && len(f.GetProducts()) > 0
	})
	stop()
	// In Tokyo it is 23:00, long past the cut-off: the next start closes the 26th.
	_, stop = s.start(t, false)
	defer stop()
	testkit.Eventually(t, "the forecast stands in", func() bool { return len(s.pushed(t, coop)) > 0 })
	if e := s.pushed(t, coop)[0]; e.GetDate() != "2026-11-26" || e.GetSource() != harvestv1.ExpectedPickSource_EXPECTED_PICK_SOURCE_FORECAST || e.GetPickLotId() != "ab-1-white-2kg-20261126" {
		t.Errorf("told %v", e)
	}
}

// From others' events on the bus to a push, its own event, a hold, and a stop
// between commit and publish: nothing is lost and nothing comes twice.
func TestHarvestLivesOnEvents(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	coop := testkit.Coop()
	ctx := testkit.Context(t, coop)
	client, stop := s.start(t, true)

	push := &harvestv1.PushExpectedPicksRequest{RequestId: ids.New(), ExpectedPicks: []*harvestv1.ExpectedPick{
		{RoomId: "ab-1", ProductId: "white-2kg", Date: "2026-11-26", LowGrams: 1, LikelyGrams: 2, HighGrams: 3},
	}}
	if _, err := client.PushExpectedPicks(ctx, push); fault.KindOf(err) != fault.Unavailable {
		t.Errorf("before anything was heard and with nobody to ask: %v", err)
	}
	s.tell(t, coop, "scheduling", "room", "saved", &schedulingv1.RoomSaved{Room: &schedulingv1.Room{RoomId: "ab-1", FarmId: "alder-brook", AreaM2: 200}, Version: 1})
	s.tell(t, coop, "scheduling", "farm", "saved", &schedulingv1.FarmSaved{Version: 1})
	s.tell(t, coop, "scheduling", "crop", "planned", &schedulingv1.CropPlanned{Crop: &schedulingv1.Crop{
		CropId: "ab-1-20261001", RoomId: "ab-1", FarmId: "alder-brook", Species: "white mushroom", State: schedulingv1.CropState_CROP_STATE_RUNNING,
		FillDate: "2026-10-01", FirstPickDate: "2026-11-08", FreeDate: "2026-12-10", Version: 1,
	}})
	s.tell(t, coop, "order", "product", "saved", &orderv1.ProductSaved{Product: &orderv1.Product{ProductId: "white-2kg", Species: "white mushroom"}, Version: 1})
	testkit.Eventually(t, "the push is taken", func() bool {
		_, err := client.PushExpectedPicks(ctx, push)
		return err == nil
	})
	if got := s.pushed(t, coop); len(got) != 0 {
		t.Errorf("a paused relay published %v", got)
	}
	stop()

	client, stop = s.start(t, false)
	defer stop()
	if _, err := client.PushExpectedPicks(ctx, push); err != nil {
		t.Errorf("the same push after the restart: %v", err)
	}
	testkit.Eventually(t, "the push is told", func() bool { return len(s.pushed(t, coop)) > 0 })
	lot := &compostlotv1.Lot{LotId: "qe-26-37", YardId: "quarry-end", State: compostlotv1.LotState_LOT_STATE_HELD, HoldReason: "ammonia", Version: 3}
	s.tell(t, coop, "compostlot", "lot", "delivered", &compostlotv1.LotDelivered{Lot: lot, Delivery: &compostlotv1.LotDelivery{
		DeliveryId: "d1", LotId: "qe-26-37", RoomId: "ab-1", Date: "2026-10-01", DeliveredKg: 18000,
	}})
	testkit.Eventually(t, "the hold reaches the pick lot", func() bool {
		back, err := client.TraceBack(ctx, &harvestv1.TraceBackRequest{PickLotId: "ab-1-white-2kg-20261126"})
		return err == nil && back.GetPickLot().GetHeld()
	})
	if got := s.pushed(t, coop); len(got) != 1 || got[0].GetVersion() != 1 {
		t.Errorf("published %v, want the one push once", got)
	}
}

func TestConfigIsChecked(t *testing.T) {
	t.Parallel()
	for n, problems := range map[int32]int{0: 0, 4: 0, 1000: 0, 3: 1, -1: 1, 1001: 1} {
		var r config.Report
		Config{MaxConnections: n}.Check(&r)
		if len(r.Problems()) != problems {
			t.Errorf("%d connections: %v", n, r.Problems())
		}
	}
	for text, problems := range map[string]int{"": 0, "15:30": 0, "00:00": 0, "24:00": 1, "3 pm": 1} {
		var r config.Report
		Config{CutOff: text}.Check(&r)
		if len(r.Problems()) != problems {
			t.Errorf("cut-off %q: %v", text, r.Problems())
		}
	}
	for n, problems := range map[int]int{0: 0, 1: 0, 400: 0, -1: 1, 401: 1} {
		var r config.Report
		Config{HorizonDays: n}.Check(&r)
		if len(r.Problems()) != problems {
			t.Errorf("horizon %d: %v", n, r.Problems())
		}
	}
	rules, err := Config{CutOff: "15:30"}.rules()
	if err != nil || rules.CutOff != 15*time.Hour+30*time.Minute || rules.HorizonDays != 60 {
		t.Errorf("rules %+v (%v)", rules, err)
	}
}
