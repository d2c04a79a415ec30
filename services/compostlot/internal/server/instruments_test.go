package server_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/intake"
)

// published is a message as the bus hands it on.
func published(path string, values ...intake.Value) intake.Message {
	words := strings.Split(path, "/")
	last := len(words) - 1
	return intake.Message{
		ID: path + fmt.Sprint(values), Path: path, At: noon, Values: values,
		Topic: intake.Topic{Service: "compostlot", Place: words[0], Names: words[1:last], Kind: words[last]},
	}
}

func at(minutes int, text string) intake.Value {
	return intake.Value{Time: noon.Add(time.Duration(minutes) * time.Minute), Text: text}
}

// What probes publish is stored message by message: a second copy adds nothing, and what
// cannot be used says why and takes nothing else with it.
func TestPublishedReadings(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	r.open(t, phaseTwo("quarry-7", 1000), phaseTwo("quarry-8", 1000))
	ctx := r.as(t, identity.Service, "")
	take := func(list ...intake.Message) map[string]string {
		refused, err := r.server.TakeReadings(ctx, list)
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]string{}
		for _, f := range refused {
			out[f.Message.ID] = f.Reason
		}
		return out
	}
	good := []intake.Message{
		published("quarry/quarry-7/p1/compost_temperature", at(-3, "58.25"), at(-2, "58.3")),
		published("quarry/quarry-7/p1/ammonia", at(-3, "7")),
		published("quarry/quarry-8/p1/ph", at(-3, "7.5")),
		published("quarry/quarry-7/p1/compost_temperature", at(-1, "58.4")),
	}
	if got := take(good...); len(got) != 0 {
		t.Fatalf("refused %v", got)
	}
	later := published("quarry/quarry-7/p1/compost_temperature", at(0, "58.5"))
	bad := map[string]intake.Message{
		"yard mill has no lot":   published("mill/quarry-7/p1/ph", at(0, "7")),
		"yard quarry has no lot": published("quarry/quarry-9/p1/ph", at(0, "7")),
		"does not name a lot":    published("quarry/quarry-7/ph", at(0, "7")),
		"is not measured":        published("quarry/quarry-7/p1/noise", at(0, "7")),
		"at most 32":             published("quarry/quarry-7/"+strings.Repeat("p", 33)+"/ph", at(0, "7")),
		"set the clock":          published("quarry/quarry-7/p1/ph", at(11, "7")),
		"no value":               published("quarry/quarry-7/p1/ph", at(0, "1e9")),
		"read 58.3":              published("quarry/quarry-7/p1/compost_temperature", at(-2, "58.2")),
	}
	list := append([]intake.Message{later}, good...)
	for _, m := range bad {
		list = append(list, m)
	}
	got := take(list...)
	for reason, m := range bad {
		if !strings.Contains(got[m.ID], reason) {
			t.Errorf("%s is refused because %q, want %q", m.Path, got[m.ID], reason)
		}
		delete(got, m.ID)
	}
	if len(got) != 0 {
		t.Errorf("also refused %v", got)
	}
	report := r.reportOf(t, "quarry-7")
	if diff := cmp.Diff([]int64{1, 4}, []int64{report.GetProbes()[1].GetReadings(), report.GetProbes()[0].GetReadings()}); diff != "" {
		t.Errorf("readings of ammonia and of temperature (-want +got):\n%s", diff)
	}
	_, err := r.ListRefusedReadings(r.as(t, identity.YardManager, "mill"), &compostlotv1.ListRefusedReadingsRequest{YardId: "quarry"})
	refused(t, err, fault.Forbidden, "NOT_YOURS", "yard_id")
}
