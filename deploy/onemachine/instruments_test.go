package onemachine_test

import (
	"errors"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"breakshare.example/deploy/settings"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/config"
	"breakshare.example/services/platform/testkit"
)

const sensorPassword = "a-password-of-a-sensor"

// roomSensor lets the instruments of the farm's rooms in.
func roomSensor(coopID string) settings.MQTT {
	return settings.MQTT{Listen: "127.0.0.1:0", Devices: []settings.Device{{Name: "rooms", Password: sensorPassword, CoopID: coopID, FarmID: farmID}}}
}

// measure has a room's sensor publish over MQTT, as the settings let it, until the room's
// trace shows it.
func (d *day) measure() {
	d.t.Helper()
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + d.stack.MQTT()).SetClientID("house-1").
		SetUsername("rooms").SetPassword(sensorPassword).SetAutoReconnect(false))
	sent := c.Connect()
	if !sent.WaitTimeout(10*time.Second) || sent.Error() != nil {
		d.t.Fatalf("the sensor cannot connect: %v", sent.Error())
	}
	defer c.Disconnect(100)
	topic := "readings/" + d.coop + "/harvest/" + farmID + "/" + roomID + "/air_temperature"
	sent = c.Publish(topic, 1, false, `{"time": "2026-11-25T14:20:00Z", "value": 17.3}`)
	if !sent.WaitTimeout(10*time.Second) || sent.Error() != nil {
		d.t.Fatalf("the reading is not acknowledged: %v", sent.Error())
	}
	testkit.Eventually(d.t, "the reading to reach the room's trace", func() bool {
		trace, err := d.harvest.GetClimateTrace(d.ctx, &harvestv1.GetClimateTraceRequest{RoomId: roomID, Date: "2026-11-25"})
		return err == nil && len(trace.GetReadings()) == 1 && trace.GetReadings()[0].GetValue() == 173
	})
}

func TestSettingsOfInstruments(t *testing.T) {
	t.Parallel()
	good := roomSensor(testkit.Coop().CoopID)
	device := good.Devices[0]
	changed := func(f func(*settings.Device)) settings.MQTT {
		d := device
		f(&d)
		return settings.MQTT{Listen: good.Listen, Devices: []settings.Device{d}}
	}
	for _, c := range []struct {
		name     string
		mqtt     settings.MQTT
		nats     string
		problems int
	}{
		{"none", settings.MQTT{}, "", 0},
		{"a room's sensor", good, "", 0},
		{"a listener of another server", settings.MQTT{Remote: true}, "nats://bus.example:4222", 0},
		{"remote without a server", settings.MQTT{Remote: true}, "", 1},
		{"a listener beside another server", good, "nats://bus.example:4222", 1},
		{"devices without a listener", settings.MQTT{Devices: good.Devices}, "", 1},
		{"beyond loopback in the clear", settings.MQTT{Listen: "0.0.0.0:1883"}, "", 1},
		{"beyond loopback, accepted", settings.MQTT{Listen: "0.0.0.0:1883", Plain: true}, "", 0},
		{"a certificate without its key", settings.MQTT{Listen: "0.0.0.0:8883", Certificate: "cert.pem"}, "", 1},
		{"a short password", changed(func(d *settings.Device) { d.Password = "short" }), "", 1},
		{"no name", changed(func(d *settings.Device) { d.Name = "" }), "", 1},
		{"of yard and farm", changed(func(d *settings.Device) { d.YardID = "quarry" }), "", 1},
		{"of nobody", changed(func(d *settings.Device) { d.FarmID = "" }), "", 1},
		{"of no co-op", changed(func(d *settings.Device) { d.CoopID = "x" }), "", 1},
		{"a wildcard for a farm", changed(func(d *settings.Device) { d.FarmID = ">" }), "", 1},
		{"the same name twice", settings.MQTT{Listen: good.Listen, Devices: []settings.Device{device, device}}, "", 1},
	} {
		s := settings.Default()
		s.MQTT, s.NATSURL = c.mqtt, c.nats
		var r config.Report
		s.Check(&r)
		if got := r.Problems(); len(got) != c.problems {
			t.Errorf("%s: %v, want %d problems", c.name, got, c.problems)
		}
	}
	if _, err := (settings.MQTT{Listen: "127.0.0.1:0", Certificate: "none.pem", Key: "none.pem"}).Listener(); err == nil || errors.Unwrap(err) == nil {
		t.Errorf("a certificate that is not there: %v", err)
	}
}
