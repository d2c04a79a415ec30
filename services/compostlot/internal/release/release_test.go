package release

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const (
	day0   = int64(1_772_409_600) // 2 March 2026, midnight UTC
	minute = int64(60)
)

// trace is a probe's readings minute by minute, as a function of the minute.
func trace(id string, q Quantity, minutes int64, value func(m int64) int64) Series {
	s := Series{Probe: Probe{ID: id, Quantity: q}}
	for m := range minutes + 1 {
		s.Times = append(s.Times, day0+m*minute)
		s.Values = append(s.Values, value(m))
	}
	return s
}

// wobble keeps a probe from looking stuck.
func wobble(base int64) func(int64) int64 {
	return func(m int64) int64 { return base + m%3*100 }
}

// cook is a trace that is in the heat from one minute up to another.
func cook(from, to int64) func(int64) int64 {
	return func(m int64) int64 {
		if m >= from && m <= to {
			return 60_000 + m%3*100
		}
		return 48_000 + m%3*100
	}
}

var heat = Criterion{
	Key: "heat", Subject: "pasteurisation", Quantities: []Quantity{CompostTemperature, AirTemperature}, Test: HoldsUnbroken,
	Low: milli(60), Seconds: 2 * hour, From: Filled, To: Cooled, MinProbes: 1, Source: pennState,
}

func rulesOf(c Criterion) Rules { return Rules{Criteria: []Criterion{c}, Sanity: defaultSanity()} }

func phase2(minutes int64, series ...Series) Evidence {
	return Evidence{
		Series: series, At: day0 + minutes*minute,
		Marks: map[Mark]int64{Filled: day0, Cooled: day0 + minutes*minute},
	}
}

func evaluate(t *testing.T, in Evidence, rules Rules) Finding {
	t.Helper()
	r, err := Evaluate(in, rules)
	if err != nil {
		t.Fatal(err)
	}
	return r.Findings[0]
}

func TestHeat(t *testing.T) {
	t.Parallel()
	air := trace("air", AirTemperature, 600, wobble(61_000))
	drop := func(s Series, from, to int) Series {
		s.Times = slices.Delete(slices.Clone(s.Times), from, to)
		s.Values = slices.Delete(slices.Clone(s.Values), from, to)
		return s
	}
	set := func(s Series, m int, v int64) Series {
		s.Values = slices.Clone(s.Values)
		s.Values[m] = v
		return s
	}
	two := trace("c1", CompostTemperature, 600, cook(100, 220))
	cold := trace("c2", CompostTemperature, 600, cook(100, 219))
	low := trace("c3", CompostTemperature, 600, func(m int64) int64 { return cook(100, 220)(m) - 500 })
	corrected := low
	corrected.Probe.Offset = 500
	for _, c := range []struct {
		name   string
		series []Series
		want   Verdict
		why    string
	}{
		{"two hours to the minute", []Series{air, two}, Met, "2 h"},
		{"a minute short", []Series{air, cold}, NotMet, "1 h 59 min"},
		{"one of two probes short", []Series{air, two, cold}, NotMet, "c2"},
		{"no air probe", []Series{two}, NotProven, "No probe measures air temperature"},
		{"half a degree low", []Series{air, low}, NotMet, "0 h"},
		{"half a degree low but calibrated", []Series{air, corrected}, Met, ""},
		{"ten minutes missing are bridged", []Series{air, drop(two, 150, 160)}, Met, ""},
		{"twenty minutes missing", []Series{air, drop(two, 150, 170)}, NotProven, "gap"},
		{"an impossible value in the middle", []Series{air, set(two, 160, 200_000)}, NotProven, "cannot be"},
		{"a cold reading in the middle", []Series{air, set(two, 160, 59_900)}, NotMet, ""},
		{"stuck at 61", []Series{air, trace("c1", CompostTemperature, 600, func(int64) int64 { return 61_000 })}, NotProven, "stuck at 61 °C"},
		{"no readings at all", []Series{air, {Probe: Probe{ID: "c1", Quantity: CompostTemperature}}}, NotProven, "gap"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			f := evaluate(t, phase2(600, c.series...), rulesOf(heat))
			if f.Verdict != c.want || !strings.Contains(f.Why, c.why) {
				t.Errorf("%v (%s), want %v with %q", f.Verdict, f.Why, c.want, c.why)
			}
			if (f.Mend == "") != (f.Verdict == Met) {
				t.Errorf("%v, mend %q", f.Verdict, f.Mend)
			}
		})
	}
}

func TestTheDecidingStretchIsShown(t *testing.T) {
	t.Parallel()
	f := evaluate(t, phase2(600, trace("air", AirTemperature, 600, wobble(61_000)), trace("c1", CompostTemperature, 600, cook(100, 250))), rulesOf(heat))
	got := f.Probes[0]
	want := ProbeFinding{
		Probe: "c1", Quantity: CompostTemperature, Verdict: Met, From: day0 + 100*minute, To: day0 + 250*minute,
		Lowest: 60_000, Highest: 60_200, ProvenSeconds: 150 * minute, PossibleSeconds: 150 * minute,
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

// Heat before filling or after the end of cooling does not count, and nothing
// counts without the marks.
func TestMarksBoundTheEvidence(t *testing.T) {
	t.Parallel()
	in := phase2(600, trace("air", AirTemperature, 600, wobble(61_000)), trace("c1", CompostTemperature, 600, cook(100, 220)))
	in.Marks[Filled] = day0 + 101*minute
	if f := evaluate(t, in, rulesOf(heat)); f.Verdict != NotMet {
		t.Errorf("heat before filling counts: %v", f.Verdict)
	}
	in.Marks[Filled], in.Marks[Cooled] = day0, day0+219*minute
	if f := evaluate(t, in, rulesOf(heat)); f.Verdict != NotMet {
		t.Errorf("heat after cooling counts: %v", f.Verdict)
	}
	delete(in.Marks, Cooled)
	if f := evaluate(t, in, rulesOf(heat)); f.Verdict != NotProven || !strings.Contains(f.Mend, "end of cooling") {
		t.Errorf("without the mark: %v, %s", f.Verdict, f.Mend)
	}
}

func TestConditioningAddsUpAroundHeat(t *testing.T) {
	t.Parallel()
	c := Criterion{
		Key: "condition", Subject: "conditioning", Quantities: []Quantity{CompostTemperature}, Test: HoldsInAll,
		Low: milli(48), High: milli(52), Seconds: 8 * hour, From: Filled, To: Cooled, MinProbes: 1, Source: dmr,
	}
	// 600 minutes less the heat of minutes 200 to 318 and the minutes of
	// change on both sides: 199 + 281 minutes are 8 h.
	for to, want := range map[int64]Verdict{318: Met, 319: NotMet} {
		f := evaluate(t, phase2(600, trace("c1", CompostTemperature, 600, cook(200, to))), rulesOf(c))
		if f.Verdict != want {
			t.Errorf("heat to minute %d: %v (%s)", to, f.Verdict, f.Why)
		}
	}
}

func TestAmmoniaAfterCooling(t *testing.T) {
	t.Parallel()
	limit := Defaults().Criteria[2]
	if limit.Key != "ammonia-10ppm" {
		t.Fatalf("third default is %s", limit.Key)
	}
	nh3 := func(offset int64, at []int64, v ...int64) Series {
		return Series{Probe: Probe{ID: "a", Quantity: Ammonia, Offset: offset}, Times: at, Values: v}
	}
	h := func(n int64) int64 { return day0 + n*hour }
	for _, c := range []struct {
		name   string
		series Series
		want   Verdict
	}{
		{"three below", nh3(0, []int64{h(1), h(2), h(3)}, 10_000, 9000, 8000), Met},
		{"a trace above", nh3(0, []int64{h(1), h(2), h(3)}, 9000, 9000, 10_001), NotMet},
		{"two only", nh3(0, []int64{h(2), h(3)}, 9000, 8000), NotProven},
		{"before cooling", nh3(0, []int64{h(-3), h(-2), h(-1)}, 1000, 1000, 1000), NotProven},
		{"rising again", nh3(0, []int64{h(1), h(2), h(3), h(4)}, 5000, 4000, 3000, 30_000), NotMet},
		{"negative: a dead cell", nh3(0, []int64{h(1), h(2), h(3)}, 5000, 4000, -3000), NotProven},
		{"reads low by two", nh3(2000, []int64{h(1), h(2), h(3)}, 9000, 9000, 9000), NotMet},
		{"two days old", nh3(0, []int64{h(1), h(2), h(3)}, 4000, 3000, 2000), NotProven},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			in := Evidence{Series: []Series{c.series}, Marks: map[Mark]int64{Cooled: day0}, At: h(6)}
			if c.name == "two days old" {
				in.At = h(51)
			}
			f := evaluate(t, in, rulesOf(limit))
			if f.Verdict != c.want {
				t.Errorf("%v (%s), want %v", f.Verdict, f.Why, c.want)
			}
		})
	}
}

// The published values in Fahrenheit and per cent against the catalogue's.
func TestCatalogueKeepsThePublishedValues(t *testing.T) {
	t.Parallel()
	rules := Defaults()
	if err := rules.Check(); err != nil {
		t.Fatal(err)
	}
	if err := (Rules{Criteria: Catalogue(), Sanity: defaultSanity()}).Check(); err != nil {
		t.Fatal(err)
	}
	by := map[string]Criterion{}
	for _, c := range Catalogue() {
		by[c.Key] = c
	}
	celsius := func(f float64) int64 { return int64((f-32)*5/9*10+0.5) * 100 } // to a tenth of a degree
	if got := *by["pasteurise-60C-2h"].Low; got != celsius(140) {
		t.Errorf("140 °F is not %d m°C", got)
	}
	if c := by["spawn-temperature-24-27C"]; *c.Low != celsius(75) || *c.High != celsius(80) {
		t.Errorf("75-80 °F is not %d to %d m°C", *c.Low, *c.High)
	}
	if got := *by["ammonia-500ppm"].High; got != 500_000 { // 0.05 %
		t.Errorf("0.05 %% is not %d thousandths of a ppm", got)
	}
	subjects := map[string]int{}
	for _, c := range rules.Criteria {
		subjects[c.Subject]++
	}
	if len(subjects) != len(rules.Criteria) || len(subjects) != 7 {
		t.Errorf("defaults should take one of each of 7 subjects: %v", subjects)
	}
}

func TestDecide(t *testing.T) {
	t.Parallel()
	good := phase2(600, trace("air", AirTemperature, 600, wobble(61_000)), trace("c1", CompostTemperature, 600, cook(100, 220)))
	proven, err := Evaluate(good, rulesOf(heat))
	if err != nil {
		t.Fatal(err)
	}
	unproven, err := Evaluate(phase2(600), rulesOf(heat))
	if err != nil {
		t.Fatal(err)
	}
	if got, err := Decide(proven, Decision{By: "R. Oakes"}); err != nil || got.Exception {
		t.Errorf("proven: %+v, %v", got, err)
	}
	var open *UnprovenError
	if _, err := Decide(unproven, Decision{By: "R. Oakes"}); !errors.As(err, &open) || !slices.Equal(open.Keys, []string{"heat"}) {
		t.Errorf("unproven: %v", err)
	}
	got, err := Decide(unproven, Decision{By: "R. Oakes", Exception: true, Reason: "logger lost, hand log kept"})
	if err != nil || !got.Exception || !slices.Equal(got.Unproven, []string{"heat"}) {
		t.Errorf("exception: %+v, %v", got, err)
	}
	for field, d := range map[string]Decision{
		"by": {Exception: true, Reason: "x"}, "reason": {By: "R. Oakes", Exception: true, Reason: " "},
	} {
		var bad *DecisionError
		if _, err := Decide(unproven, d); !errors.As(err, &bad) || bad.Field != field {
			t.Errorf("%s missing: %v", field, err)
		}
	}
	var bad *DecisionError
	if _, err := Decide(proven, Decision{By: "R. Oakes", Exception: true, Reason: "x"}); !errors.As(err, &bad) || bad.Field != "exception" {
		t.Errorf("exception without need: %v", err)
	}
}

func TestBadRulesAreRefused(t *testing.T) {
	t.Parallel()
	for name, spoil := range map[string]func(*Criterion){
		"no key":       func(c *Criterion) { c.Key = "" },
		"no quantity":  func(c *Criterion) { c.Quantities = nil },
		"no limit":     func(c *Criterion) { c.Low = nil },
		"upside down":  func(c *Criterion) { c.High = milli(59) },
		"no test":      func(c *Criterion) { c.Test = 0 },
		"no time":      func(c *Criterion) { c.Seconds = 0 },
		"no probes":    func(c *Criterion) { c.MinProbes = 0 },
		"no mark":      func(c *Criterion) { c.From = 0 },
		"no source":    func(c *Criterion) { c.Source = Source{} },
		"unknown kind": func(c *Criterion) { c.Quantities = []Quantity{99} },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := heat
			spoil(&c)
			var bad *RuleError
			if _, err := Evaluate(phase2(10), rulesOf(c)); !errors.As(err, &bad) || bad.Problem == "" {
				t.Errorf("got %v", err)
			}
		})
	}
	var bad *RuleError
	if _, err := Evaluate(phase2(10), Rules{}); !errors.As(err, &bad) {
		t.Errorf("no criteria at all: %v", err)
	}
}

func TestBadEvidenceIsRefused(t *testing.T) {
	t.Parallel()
	good := trace("c1", CompostTemperature, 5, wobble(60_000))
	backwards := trace("c1", CompostTemperature, 5, wobble(60_000))
	slices.Reverse(backwards.Times)
	short := trace("c1", CompostTemperature, 5, wobble(60_000))
	short.Values = short.Values[:3]
	for name, series := range map[string][]Series{
		"twice": {good, good}, "backwards": {backwards}, "short": {short}, "nameless": {{}},
	} {
		var bad *EvidenceError
		if _, err := Evaluate(phase2(10, series...), rulesOf(heat)); !errors.As(err, &bad) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestColumns(t *testing.T) {
	t.Parallel()
	probes := []Probe{{ID: "b", Quantity: Ammonia}, {ID: "a", Quantity: Moisture, Offset: 5}}
	got, err := Columns(probes, []Reading{{"b", 20, 2}, {"b", 10, 1}, {"a", 15, 7}, {"b", 20, 3}})
	if err != nil {
		t.Fatal(err)
	}
	want := []Series{
		{Probe: probes[1], Times: []int64{15}, Values: []int64{7}},
		{Probe: probes[0], Times: []int64{10, 20}, Values: []int64{1, 3}},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	var bad *EvidenceError
	if _, err := Columns(probes, []Reading{{"z", 1, 1}}); !errors.As(err, &bad) || bad.Probe != "z" {
		t.Errorf("unknown probe: %v", err)
	}
}
