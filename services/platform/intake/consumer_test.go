package intake_test

import (
	"fmt"
	"strings"
	"testing"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/intake"
	"breakshare.example/services/platform/testkit"
)

// Over a real socket, with and without acknowledgement: what can be used is
// stored, once; the rest is kept with its reason, and stops nothing.
func TestReadingsOverMQTT(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	s.consume(t)
	c := s.device(t)
	const at = `"time": "2026-03-02T06:30:00Z"`
	publish(t, c, 1, below("lot-7/p1/compost_temperature"), `{`+at+`, "value": 58.25}`)
	publish(t, c, 1, below("lot-7/p1/compost_temperature"), `{`+at+`, "value": 58.25}`) // twice
	publish(t, c, 0, below("lot-7/p2/compost_temperature"), `{`+at+`, "value": -3}`)
	publish(t, c, 2, below("lot-7/p3/compost_temperature"), `[{`+at+`, "value": 1e1}, {"time": "2026-03-02T06:31:00+01:00", "value": 11}]`)
	bad := map[string]string{
		"lot-7/p4/compost_temperature": "warm",
		"lot-7/p5/compost_temperature": `{"value": 7}`,
		"lot-7/p6/noise":               "12",
		"lot-7/P7/compost_temperature": "12",
		"p8":                           "12",
	}
	for rest, payload := range bad {
		publish(t, c, 1, below(rest), payload)
	}
	publish(t, c, 1, below("lot-7/p9/compost_temperature"), "60.5") // of the present moment
	testkit.Eventually(t, "all is taken", func() bool { return len(s.heat(t)) == 5 && len(s.refused(t, "")) == len(bad) })
	got := s.heat(t)
	for at, milli := range got {
		if strings.HasPrefix(at, "lot-7/p9") && milli == 60_500 {
			delete(got, at)
		}
	}
	if diff := cmp.Diff(map[string]int64{
		"lot-7/p1 2026-03-02T06:30:00Z": 58_250, "lot-7/p2 2026-03-02T06:30:00Z": -3000,
		"lot-7/p3 2026-03-02T06:30:00Z": 10_000, "lot-7/p3 2026-03-02T05:31:00Z": 11_000,
	}, got); diff != "" {
		t.Errorf("stored (-want +got):\n%s", diff)
	}
	for _, r := range s.refused(t, "quarry") {
		rest := strings.TrimPrefix(r.Topic, below(""))
		if bad[rest] != r.Payload || r.Reason == "" || r.ReceivedAt.IsZero() {
			t.Errorf("refused %+v", r)
		}
		delete(bad, rest)
	}
	if len(bad) != 0 || len(s.refused(t, "mill")) != 0 {
		t.Errorf("not listed: %v; of another yard: %v", bad, s.refused(t, "mill"))
	}
}

// What was acknowledged outlives a restart of the bus with nobody there to take
// it, and failures of the service.
func TestAcknowledgedReadingsAreNotLost(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	for i := range 20 {
		c := s.device(t)
		publish(t, c, 1, below(fmt.Sprintf("lot-7/p%d/compost_temperature", i)), `{"time": "2026-03-02T06:30:00Z", "value": 58}`)
		c.Disconnect(100)
	}
	s.down(t)
	s.up(t)
	s.fail(fault.New(fault.Unavailable, "DOWN", "the database is away"))
	stop := s.consume(t)
	stop()
	s.fail(nil)
	s.consume(t)
	testkit.Eventually(t, "all is stored", func() bool { return len(s.heat(t)) == 20 })
}

// A message on which the service fails again and again is set aside; those that
// came with it are stored.
func TestOneBadMessageDoesNotBlock(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	c := s.device(t)
	publish(t, c, 1, below("lot-7/p1/compost_temperature"), "12345678901.5") // scaled beyond all
	publish(t, c, 1, below("lot-7/p2/compost_temperature"), "58")
	s.consume(t)
	testkit.Eventually(t, "the good one is stored and the bad one kept", func() bool {
		list := s.refused(t, "quarry")
		return len(s.heat(t)) == 1 && len(list) == 1 && list[0].Payload == "12345678901.5"
	})
}

// A device publishes below its own yard only, and nobody gets in without a password.
func TestDevicesKeepToTheirOwn(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	s.consume(t)
	for user, pass := range map[string]string{"": "", "quarry-logger": "wrong", "breakshare": "", "nobody": password} {
		if c, err := s.dial(t, user, pass); err == nil {
			c.Disconnect(0)
			t.Errorf("%q got in", user)
		}
	}
	c := s.device(t)
	for _, topic := range []string{
		"readings/" + testkit.Coop().CoopID + "/compostlot/quarry/lot-7/p1/compost_temperature",
		"readings/" + coop.CoopID + "/compostlot/mill/lot-7/p1/compost_temperature",
		"readings/" + coop.CoopID + "/harvest/quarry/room-1/air_temperature",
		"coop/" + coop.CoopID + "/compostlot/lot/released",
	} {
		publish(t, c, 1, topic, "58")
	}
	publish(t, c, 1, below("lot-7/p1/compost_temperature"), "58")
	testkit.Eventually(t, "the own reading", func() bool { return len(s.heat(t)) == 1 })
	token := c.Subscribe("#", 0, nil)
	token.Wait()
	const failure = 0x80 // return code of a SUBACK: MQTT 3.1.1, 3.9.3
	if got := token.(*mqtt.SubscribeToken).Result()["#"]; token.Error() == nil && got != failure {
		t.Errorf("a device may listen to all: %#x", got)
	}
	if got := s.refused(t, ""); len(got) != 0 {
		t.Errorf("others' topics came through: %v", got)
	}
}

func TestConsumerSaysWhatIsMissing(t *testing.T) {
	t.Parallel()
	if _, err := intake.New(intake.Options{Service: service}); err == nil {
		t.Error("a consumer without a bus was made")
	}
	for _, c := range []struct{ coop, place string }{{"x", "quarry"}, {coop.CoopID, "*"}, {coop.CoopID, "a.b"}, {coop.CoopID, ""}} {
		if got, err := intake.Allowed(c.coop, service, c.place); err == nil {
			t.Errorf("%v gives %s", c, got)
		}
	}
}
