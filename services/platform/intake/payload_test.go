package intake

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

var took = time.Date(2026, 3, 2, 6, 30, 15, 0, time.UTC)

func TestPayloads(t *testing.T) {
	t.Parallel()
	for payload, want := range map[string][]Value{
		"58.2":     {{took, "58.2"}},
		" -0.5\n":  {{took, "-0.5"}},
		"+1.25e-3": {{took, "+1.25e-3"}},
		`{"value":7.50,"time":"2026-03-02T07:30:00+01:00","unit":"C"}`: {{took.Add(-15 * time.Second), "7.50"}},
		`[{"time":"2026-03-02T06:30:15Z","value":1},{"time":"2026-03-02T06:30:15.25Z","value":2}]`: {
			{took, "1"}, {took.Add(250 * time.Millisecond), "2"}},
	} {
		got, err := parsePayload([]byte(payload), took)
		if err != nil {
			t.Errorf("%s: %v", payload, err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", payload, diff)
		}
	}
	long := "[" + strings.Repeat(`{"time":"2026-03-02T06:30:15Z","value":1},`, mostValues) + `{"time":"2026-03-02T06:30:15Z","value":1}]`
	for _, payload := range []string{
		"", " ", "warm", "NaN", "0x10", "1e999999999", "1,5", "58.2 C", "{", "[", "[]", "[1]", "{}", "null", "true", `"58"`,
		`{"value":1}`, `{"time":"2026-03-02T06:30:15Z"}`, `{"time":"yesterday","value":1}`, `{"time":"2026-02-30T06:30:15Z","value":1}`,
		`{"time":"2026-03-02T06:30:15Z","value":"1"}x`, `{"time":"2026-03-02T06:30:15Z","value":1e400}`, `{"time":1,"value":1}`, long,
	} {
		if got, err := parsePayload([]byte(payload), took); err == nil {
			t.Errorf("%.60q gives %v", payload, got)
		}
	}
}

func TestScaled(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]int64{
		"58.2": 58_200, "-58.2": -58_200, "0.0005": 1, "-0.0005": -1, "0.00049": 0, "+7": 7000, "1.5e2": 150_000, "1e-99": 0, "1000000": 1_000_000_000,
	} {
		if got, err := (Value{Text: text}).Scaled(1000); err != nil || got != want {
			t.Errorf("%s gives %d, %v; want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"1000000.001", "-1e99", "x"} {
		if got, err := (Value{Text: text}).Scaled(1000); err == nil {
			t.Errorf("%s gives %d", text, got)
		}
	}
}

// FuzzReading feeds topics and payloads as anybody may publish them: what is
// taken names a co-op, a place and at least one number that can be scaled or is
// refused; and nothing ends the process.
func FuzzReading(f *testing.F) {
	const subject = "readings.0190163d-8694-739b-aea5-966c26f8ad91.compostlot.quarry.lot-7.p1.ammonia"
	for _, payload := range []string{"58.2", `{"time":"2026-03-02T06:30:15Z","value":1}`, `[{"time":"2026-03-02T06:30:15Z","value":-1e-9}]`, "\x00\xff"} {
		f.Add(subject, []byte(payload))
	}
	f.Add("readings..compostlot.*.>", []byte("1"))
	f.Fuzz(func(t *testing.T, subject string, payload []byte) {
		topic, err := parseSubject(subject)
		if err == nil && (topic.CoopID == "" || topic.Place == "" || len(topic.Names) == 0 || topic.Kind == "" ||
			slashed(subject) != strings.Join(append([]string{root, topic.CoopID, topic.Service, topic.Place}, append(topic.Names, topic.Kind)...), "/")) {
			t.Fatalf("%q gives %+v", subject, topic)
		}
		values, err := parsePayload(payload, took)
		if err == nil && len(values) == 0 {
			t.Fatalf("%q gives nothing and no error", payload)
		}
		for _, v := range values {
			if n, err := v.Scaled(1000); err == nil && (n > 1e9 || n < -1e9) {
				t.Fatalf("%q gives %d", payload, n)
			}
		}
		if len(shown(payload)) > 3*shownPayload {
			t.Fatalf("%q is shown as %q", payload, shown(payload))
		}
	})
}
