package compostlot_test

import (
	"context"
	"fmt"
	"log/slog"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/host"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/intake"
	"breakshare.example/services/platform/localnats"
	"breakshare.example/services/platform/testkit"
)

// yardBus is a bus that lets one logger of a yard in.
func yardBus(t *testing.T, folder, coopID string) (b *bus.Bus, address string, stop func()) {
	t.Helper()
	log := slog.New(slog.DiscardHandler)
	below, err := intake.Allowed(coopID, "compostlot", "quarry")
	if err != nil {
		t.Fatal(err)
	}
	server, err := localnats.Start(t.Context(), localnats.Options{Folder: folder, Log: log, MQTT: &localnats.MQTT{
		Listen: "127.0.0.1:0", Devices: []localnats.Device{{Name: "logger", Password: "a-password-of-a-logger", Publish: below}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	login := server.Login()
	b, err = bus.Connect(t.Context(), bus.Options{InProcess: server.NATS(), Log: log, User: login.User, Password: login.Password})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Ensure(t.Context()); err != nil {
		t.Fatal(err)
	}
	return b, server.MQTTAddr().String(), func() {
		b.Close()
		if err := server.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	}
}

// publishAll sends readings of a probe by the minute, each acknowledged.
func publishAll(t *testing.T, address, topic string, from time.Time, n int) {
	t.Helper()
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + address).SetClientID("logger-1").
		SetUsername("logger").SetPassword("a-password-of-a-logger").SetAutoReconnect(false))
	if token := c.Connect(); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		t.Fatalf("connect: %v", token.Error())
	}
	defer c.Disconnect(100)
	var tokens []mqtt.Token
	for i := range n {
		payload := fmt.Sprintf(`{"time": %q, "value": 58.%d}`, from.Add(time.Duration(i)*time.Minute).Format(time.RFC3339), i%10)
		tokens = append(tokens, c.Publish(topic, 1, false, payload))
	}
	for _, token := range tokens {
		if !token.WaitTimeout(30*time.Second) || token.Error() != nil {
			t.Fatalf("a reading is not acknowledged: %v", token.Error())
		}
	}
}

// A probe publishes over MQTT: its readings become the lot's evidence. What it sends again is
// known; what was acknowledged while the service was away, and the bus went down after, is
// stored when both are back.
func TestProbesPublishOverMQTT(t *testing.T) {
	t.Parallel()
	admin, folder, coop := testkit.Postgres(t), t.TempDir(), testkit.Coop()
	scheduling := start(t, "scheduling", &host.Host{PostgresURL: admin, Bus: testkit.Bus(t)}, func(context.Context, *host.Host) error { return nil })
	topic := "readings/" + coop.CoopID + "/compostlot/quarry/quarry-7/p1/compost_temperature"
	from := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

	b, address, stop := yardBus(t, folder, coop.CoopID)
	unit, client := serve(t, admin, b, scheduling)
	ctx := testkit.Context(t, coop)
	if _, err := client.SaveYard(ctx, &compostlotv1.SaveYardRequest{RequestId: ids.New(), Yard: &compostlotv1.Yard{YardId: "quarry", Name: "Quarry End"}}); err != nil {
		t.Fatal(err)
	}
	if _, err := client.OpenLot(ctx, &compostlotv1.OpenLotRequest{RequestId: ids.New(), Lot: &compostlotv1.Lot{
		LotId: "quarry-7", YardId: "quarry", Phase: typev1.CompostPhase_COMPOST_PHASE_TWO, StartedDate: "2026-02-01", MadeKg: 1000,
	}}); err != nil {
		t.Fatal(err)
	}
	publishAll(t, address, topic, from, 60)
	publishAll(t, address, topic, from.Add(30*time.Minute), 60) // half of them again
	publishAll(t, address, topic+"/none", from, 1)
	has := func(client compostlotv1.CompostLotServiceClient, n int64) func() bool {
		return func() bool {
			report, err := client.GetLotReport(ctx, &compostlotv1.GetLotReportRequest{LotId: "quarry-7"})
			return err == nil && report.GetReadings() == n
		}
	}
	testkit.Eventually(t, "the readings are the lot's", has(client, 90))
	testkit.Eventually(t, "the bad one is listed", func() bool {
		manager := testkit.Context(t, identity.Identity{CoopID: coop.CoopID, Role: identity.YardManager, YardID: "quarry"})
		list, err := client.ListRefusedReadings(manager, &compostlotv1.ListRefusedReadingsRequest{})
		return err == nil && len(list.GetRefused()) == 1 && list.GetRefused()[0].GetTopic() == topic+"/none"
	})

	unit()
	publishAll(t, address, topic, from.Add(90*time.Minute), 30) // nobody is there
	stop()
	b, _, stop = yardBus(t, folder, coop.CoopID)
	defer stop()
	unit, client = serve(t, admin, b, scheduling)
	defer unit()
	testkit.Eventually(t, "what was acknowledged is stored", has(client, 120))
}
