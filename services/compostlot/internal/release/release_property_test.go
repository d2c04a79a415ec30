package release

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// drawSeries draws readings a few minutes apart, in and out of the band, with
// gaps, standstills and impossible values.
func drawSeries(t *rapid.T) Series {
	s := Series{Probe: Probe{ID: "c1", Quantity: CompostTemperature}}
	at := day0
	for range rapid.IntRange(0, 40).Draw(t, "readings") {
		at += rapid.SampledFrom([]int64{60, 300, 600, 900, 901, 4000}).Draw(t, "step")
		s.Times = append(s.Times, at)
		s.Values = append(s.Values, rapid.SampledFrom([]int64{60_000, 60_100, 61_000, 59_900, 300_000}).Draw(t, "value"))
	}
	return s
}

func hotFor(seconds int64) Criterion {
	c := heat
	c.Quantities, c.Seconds = []Quantity{CompostTemperature}, seconds
	return c
}

// The longest proven stretch, by trying every pair of readings.
func TestProvenStretchAgainstAllPairs(t *testing.T) {
	t.Parallel()
	sane := defaultSanity()[CompostTemperature]
	rapid.Check(t, func(t *rapid.T) {
		s := drawSeries(t)
		r, err := Evaluate(phase2(2000, s), rulesOf(hotFor(hour)))
		if err != nil {
			t.Fatal(err)
		}
		ok := usable(s, sane)
		var want int64
		for i := range s.Times {
			for j := i; j < len(s.Times) && s.Times[j] <= day0+2000*minute; j++ {
				if !ok[j] || s.Values[j] < 60_000 || j > i && s.Times[j]-s.Times[j-1] > sane.MaxGapSeconds {
					break
				}
				want = max(want, s.Times[j]-s.Times[i])
			}
		}
		if got := r.Findings[0].Probes[0]; got.ProvenSeconds != want || got.PossibleSeconds < want {
			t.Fatalf("proven %d s, possible %d s, all pairs give %d s", got.ProvenSeconds, got.PossibleSeconds, want)
		}
	})
}

// Less evidence never proves more: readings cut out so that a gap stays turn
// nothing into met; and no verdict turns from "not proven" to "not met".
func TestLosingReadingsProvesNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, c := drawSeries(t), hotFor(rapid.Int64Range(60, 3*hour).Draw(t, "hold"))
		before, err := Evaluate(phase2(2000, s), rulesOf(c))
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Times) < 3 {
			return
		}
		from := rapid.IntRange(1, len(s.Times)-2).Draw(t, "from")
		to := rapid.IntRange(from, len(s.Times)-2).Draw(t, "to")
		if s.Times[to+1]-s.Times[from-1] <= defaultSanity()[CompostTemperature].MaxGapSeconds {
			return
		}
		s.Times, s.Values = slices.Delete(s.Times, from, to+1), slices.Delete(s.Values, from, to+1)
		after, err := Evaluate(phase2(2000, s), rulesOf(c))
		if err != nil {
			t.Fatal(err)
		}
		was, is := before.Findings[0].Verdict, after.Findings[0].Verdict
		if is == Met && was != Met || is == NotMet && was != NotMet && !stoodStill(s) {
			t.Fatalf("was %v, without some readings %v", was, is)
		}
	})
}

// stoodStill says that two neighbours are equal: cutting readings out can make
// a standstill of them, or end one.
func stoodStill(s Series) bool {
	for i := 1; i < len(s.Values); i++ {
		if s.Values[i] == s.Values[i-1] {
			return true
		}
	}
	return false
}

// A probe that reads low by an offset and is corrected by it says the same as
// one that reads true.
func TestOffsetIsTheSameAsReadingTrue(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s, by := drawSeries(t), rapid.Int64Range(-3000, 3000).Draw(t, "offset")
		want, err := Evaluate(phase2(2000, s), rulesOf(hotFor(hour)))
		if err != nil {
			t.Fatal(err)
		}
		s.Values = slices.Clone(s.Values)
		for i := range s.Values {
			s.Values[i] -= by
		}
		s.Probe.Offset = by
		got, err := Evaluate(phase2(2000, s), rulesOf(hotFor(hour)))
		if err != nil || got.Findings[0].Why != want.Findings[0].Why {
			t.Fatalf("%v: %q against %q", err, got.Findings[0].Why, want.Findings[0].Why)
		}
	})
}

func BenchmarkEvaluate400000Readings(b *testing.B) {
	in := Evidence{At: day0 + 14*24*hour, Marks: map[Mark]int64{Filled: day0, Cooled: day0 + 13*24*hour}}
	for p := range 20 {
		q := []Quantity{CompostTemperature, CompostTemperature, AirTemperature, Ammonia}[p%4]
		s := Series{Probe: Probe{ID: string(rune('a' + p)), Quantity: q}}
		for m := range int64(20_000) {
			v := 48_000 + m%7*100
			if m > 3000 && m < 3300 {
				v = 60_500 + m%7*100
			}
			s.Times, s.Values = append(s.Times, day0+m*minute), append(s.Values, v)
		}
		in.Series = append(in.Series, s)
	}
	rules := Defaults()
	for b.Loop() {
		if _, err := Evaluate(in, rules); err != nil {
			b.Fatal(err)
		}
	}
}
