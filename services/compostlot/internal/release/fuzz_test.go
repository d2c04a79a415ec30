package release

import (
	"encoding/binary"
	"testing"
)

// FuzzEvaluate feeds readings of any times and values: the answer is an error
// or a verdict for every criterion, and Met only where enough was proven.
func FuzzEvaluate(f *testing.F) {
	f.Add([]byte("sixteen bytes per reading: eight of time and eight of value"), int64(0))
	f.Add(make([]byte, 64), int64(-500))
	f.Add([]byte{0, 0, 0, 60, 0, 0, 234, 96, 0, 0, 0, 60, 0, 0, 234, 97}, int64(7))
	f.Fuzz(func(t *testing.T, data []byte, offset int64) {
		s := Series{Probe: Probe{ID: "p", Quantity: CompostTemperature, Offset: offset % 1_000_000}}
		at := day0
		for ; len(data) >= 8; data = data[8:] {
			at += int64(binary.BigEndian.Uint32(data)) % 5000
			s.Times = append(s.Times, at)
			s.Values = append(s.Values, int64(int32(binary.BigEndian.Uint32(data[4:]))))
		}
		c := hotFor(hour)
		r, err := Evaluate(phase2(2000, s), rulesOf(c))
		if err != nil {
			return // two readings in one second
		}
		got := r.Findings[0]
		if got.Verdict < Met || got.Verdict > NotProven || got.Why == "" {
			t.Fatalf("%+v", got)
		}
		p := got.Probes[0]
		if (p.Verdict == Met) != (p.ProvenSeconds >= c.Seconds) || p.ProvenSeconds > p.PossibleSeconds || p.Verdict == Met && p.Lowest < *c.Low {
			t.Fatalf("%+v", p)
		}
	})
}
