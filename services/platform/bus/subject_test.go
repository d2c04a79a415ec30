package bus_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/nats-io/nats.go"
	"pgregory.net/rapid"

	"breakshare.example/services/platform/bus"
)

const coop = "0198c2f4-9d1e-7a55-8f3b-2f1c0a6b7d21"

func TestSubject(t *testing.T) {
	t.Parallel()
	got := bus.Subject(strings.ToUpper(coop), "harvest", "expected_pick", "pushed")
	if want := "coop." + coop + ".harvest.expected_pick.pushed"; got != want {
		t.Errorf("Subject = %q, want %q", got, want)
	}
	if got, want := bus.SourceFilter("harvest"), "coop.*.harvest.>"; got != want {
		t.Errorf("SourceFilter = %q, want %q", got, want)
	}
	if got, want := bus.DeadSubject("order", "harvest", "expected_pick", "pushed"), "dead.order.harvest.expected_pick.pushed"; got != want {
		t.Errorf("DeadSubject = %q, want %q", got, want)
	}
}

func TestCheckSubjectNamesTheBadPart(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name                       string
		coop, service, thing, what string
		part                       string
	}{
		{"co-op is no UUID", "farm", "harvest", "pick", "recorded", "co-op"},
		{"co-op is a wildcard", "*", "harvest", "pick", "recorded", "co-op"},
		{"service is empty", coop, "", "pick", "recorded", "service"},
		{"thing with a dot", coop, "harvest", "pick.lot", "held", "thing"},
		{"thing with a capital", coop, "harvest", "Pick", "held", "thing"},
		{"what is a wildcard", coop, "harvest", "pick", ">", "what"},
		{"what with a space", coop, "harvest", "pick", "re corded", "what"},
		{"what begins with a digit", coop, "harvest", "pick", "1st", "what"},
		{"thing over 63 characters", coop, "harvest", strings.Repeat("a", 64), "held", "thing"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			var p *bus.SubjectProblem
			err := bus.CheckSubject(tc.coop, tc.service, tc.thing, tc.what)
			if !errors.As(err, &p) || p.Part != tc.part {
				t.Fatalf("CheckSubject = %v, want a problem with the %s", err, tc.part)
			}
			defer func() {
				if recover() == nil {
					t.Error("Subject did not panic")
				}
			}()
			bus.Subject(tc.coop, tc.service, tc.thing, tc.what)
		})
	}
}

// Whatever passes the check comes back from ParseSubject as it was.
func TestSubjectRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[a-z][a-z0-9_]{0,62}`)
		want := bus.Parts{CoopID: coop, Service: word.Draw(t, "service"), Thing: word.Draw(t, "thing"), What: word.Draw(t, "what")}
		got, err := bus.ParseSubject(bus.Subject(want.CoopID, want.Service, want.Thing, want.What))
		if err != nil || got != want {
			t.Fatalf("ParseSubject = %v, %v, want %v", got, err, want)
		}
	})
}

func event() bus.Event {
	return bus.Event{
		Parts: bus.Parts{CoopID: coop, Service: "harvest", Thing: "pick", What: "recorded"},
		ID:    "0198c2f4-9d1e-7a55-8f3b-2f1c0a6b7d99", Type: "breakshare.harvest.v1.PickRecorded", Aggregate: "room 4",
		Sequence: 7, Time: time.Date(2026, 3, 4, 5, 6, 7, 891_000, time.UTC),
		Trace: "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01", Payload: []byte{1, 2, 3},
	}
}

// The names of the headers are those of the NATS protocol binding for
// CloudEvents, version 1.0.2, section 3.1 (binary content mode), the sequence
// that of the CloudEvents sequence extension, and the traceparent's form that
// of W3C Trace Context, section 3.2.
func TestMessageCarriesCloudEventsHeaders(t *testing.T) {
	t.Parallel()
	m := event().Message()
	want := nats.Header{
		"Nats-Msg-Id":    {"0198c2f4-9d1e-7a55-8f3b-2f1c0a6b7d99"},
		"ce-specversion": {"1.0"},
		"ce-id":          {"0198c2f4-9d1e-7a55-8f3b-2f1c0a6b7d99"},
		"ce-type":        {"breakshare.harvest.v1.PickRecorded"},
		"ce-source":      {"/breakshare/harvest"},
		"ce-subject":     {"room 4"},
		"ce-time":        {"2026-03-04T05:06:07.000891Z"},
		"ce-sequence":    {"7"},
		"content-type":   {"application/protobuf"},
		"traceparent":    {"00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"},
	}
	if diff := cmp.Diff(want, m.Header); diff != "" {
		t.Errorf("headers (-want +got):\n%s", diff)
	}
	got, err := bus.ParseEvent(m.Subject, m.Header, m.Data)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(event(), got); diff != "" {
		t.Errorf("read back (-want +got):\n%s", diff)
	}
}

func TestParseEventRefusesWhatIsNotWhole(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ name, header, value, says string }{
		{"no id", "ce-id", "", "ce-id"},
		{"no type", "ce-type", "", "ce-type"},
		{"another source", "ce-source", "/breakshare/order", "ce-source"},
		{"no sequence", "ce-sequence", "", "ce-sequence"},
		{"sequence 0", "ce-sequence", "0", "ce-sequence"},
		{"sequence in words", "ce-sequence", "seven", "ce-sequence"},
		{"time in words", "ce-time", "yesterday", "ce-time"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			m := event().Message()
			m.Header.Set(tc.header, tc.value)
			_, err := bus.ParseEvent(m.Subject, m.Header, m.Data)
			if err == nil || !strings.Contains(err.Error(), tc.says) {
				t.Errorf("ParseEvent = %v, want an error that names %s", err, tc.says)
			}
		})
	}
}

// No subject and no headers may make ParseEvent panic, and what it accepts it
// can write again.
func FuzzParseEvent(f *testing.F) {
	f.Add("coop."+coop+".harvest.pick.recorded", "7", "2026-03-04T05:06:07Z", "/breakshare/harvest")
	f.Add("coop.*.harvest.>", "-1", "", "")
	f.Add("dead.order.harvest.pick.recorded", "9223372036854775808", "2026-13-01T00:00:00Z", "/breakshare/")
	f.Fuzz(func(t *testing.T, subject, sequence, at, source string) {
		h := nats.Header{"ce-id": {"1"}, "ce-type": {"t"}, "ce-sequence": {sequence}, "ce-time": {at}, "ce-source": {source}}
		e, err := bus.ParseEvent(subject, h, nil)
		if err != nil {
			return
		}
		again, err := bus.ParseEvent(e.Message().Subject, e.Message().Header, nil)
		if err != nil || again.Sequence != e.Sequence || !again.Time.Equal(e.Time) {
			t.Fatalf("accepted %+v, then read back %+v, %v", e, again, err)
		}
	})
}
