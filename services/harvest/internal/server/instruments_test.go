package server

import (
	"fmt"
	"strings"
	"testing"
	"time"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/intake"
	"breakshare.example/services/platform/testkit"
)

// published is a message as the bus hands it on.
func published(path string, at time.Time, text string) intake.Message {
	words := strings.Split(path, "/")
	last := len(words) - 1
	return intake.Message{
		ID: fmt.Sprint(path, at, text), Path: path, At: noon, Values: []intake.Value{{Time: at, Text: text}},
		Topic: intake.Topic{Service: "harvest", Place: words[0], Names: words[1:last], Kind: words[last]},
	}
}

// What instruments publish of rooms is stored and checked against the limits as any reading
// is; a second copy adds nothing, and what cannot be used takes nothing else with it.
func TestPublishedClimate(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	coop := inPick(t, r)
	ctx := testkit.Context(t, identity.Identity{CoopID: coop.CoopID, Role: identity.Service, Name: "instruments"})
	at := noon.Add(-6 * time.Hour)
	bad := map[string]intake.Message{
		"farm alder-brook has no room": published("alder-brook/none/humidity", at, "90"),
		"farm other has no room":       published("other/ab-1/humidity", at, "90"),
		"does not name a room":         published("alder-brook/ab-1/p1/humidity", at, "90"),
		"is not measured":              published("alder-brook/ab-1/ammonia", at, "9"),
		"humidity of 101 cannot be":    published("alder-brook/ab-1/humidity", at, "101"),
		"no value that":                published("alder-brook/ab-1/humidity", at, "1e20"),
		"set the clock":                published("alder-brook/ab-1/humidity", noon.Add(time.Hour), "90"),
	}
	good := []intake.Message{published("alder-brook/ab-1/carbon_dioxide", at, "1400"), published("alder-brook/ab-1/air_temperature", at, "17.04")}
	list := append([]intake.Message{good[1]}, good...)
	for _, m := range bad {
		list = append(list, m)
	}
	got, err := r.harvest.TakeReadings(ctx, list)
	if err != nil || len(got) != len(bad) {
		t.Fatalf("refused %d of %d: %v", len(got), len(bad), err)
	}
	for _, f := range got {
		found := false
		for reason, m := range bad {
			found = found || (m.ID == f.Message.ID && strings.Contains(f.Reason, reason))
		}
		if !found {
			t.Errorf("%s is refused because %s", f.Message.Path, f.Reason)
		}
	}
	ida := testkit.Context(t, grower(coop, "alder-brook"))
	trace, err := r.GetClimateTrace(ida, &harvestv1.GetClimateTraceRequest{RoomId: "ab-1"})
	if err != nil {
		t.Fatal(err)
	}
	if len(trace.GetReadings()) != 2 || trace.GetReadings()[0].GetValue() != 170 || len(trace.GetAlerts()) != 1 || trace.GetAlerts()[0].GetWorstValue() != 1400 {
		t.Errorf("readings %v, alerts %v", trace.GetReadings(), trace.GetAlerts())
	}
	if _, err := r.ListRefusedReadings(ida, &harvestv1.ListRefusedReadingsRequest{FarmId: "other"}); fault.KindOf(err) != fault.Forbidden {
		t.Errorf("a grower lists another farm's: %v", err)
	}
}
