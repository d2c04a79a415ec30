package intake_test

import (
	"io"
	"log/slog"
	"net"
	"strconv"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/nats-io/nats-server/v2/server"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/testkit"
)

// A server of one's own, with a listener of its own that an instrument has used before any
// service came: the same topics, the same consumers.
func TestServerOfOnesOwn(t *testing.T) {
	t.Parallel()
	nats, err := server.NewServer(&server.Options{
		ServerName: "own", Host: "127.0.0.1", Port: server.RANDOM_PORT, JetStream: true, StoreDir: t.TempDir(), NoSigs: true,
		MQTT: server.MQTTOpts{Host: "127.0.0.1", Port: server.RANDOM_PORT},
	})
	if err != nil {
		t.Fatal(err)
	}
	nats.Start()
	t.Cleanup(func() { nats.Shutdown(); nats.WaitForShutdown() })
	if !nats.ReadyForConnections(10 * time.Second) {
		t.Fatal("the server is not ready")
	}
	varz, err := nats.Varz(nil)
	if err != nil {
		t.Fatal(err)
	}
	device := mqtt.NewClient(mqtt.NewClientOptions().SetClientID("early").SetAutoReconnect(false).
		AddBroker("tcp://" + net.JoinHostPort("127.0.0.1", strconv.Itoa(varz.MQTT.Port))))
	if token := device.Connect(); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		t.Fatalf("connect: %v", token.Error())
	}
	t.Cleanup(func() { device.Disconnect(100) })

	s := &stand{pool: testkit.Pool(t, pg.Schema{Service: service, Migrations: migrations})}
	s.bus, err = bus.Connect(t.Context(), bus.Options{URL: nats.ClientURL(), Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.bus.Close)
	s.consume(t)
	for qos := range byte(3) {
		publish(t, device, qos, below("lot-7/p"+strconv.Itoa(int(qos))+"/compost_temperature"), `{"time": "2026-03-02T06:30:00Z", "value": 58}`)
	}
	testkit.Eventually(t, "all is stored", func() bool { return len(s.heat(t)) == 3 })
}
