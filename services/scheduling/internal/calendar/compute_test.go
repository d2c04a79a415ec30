package calendar_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

// Published ranges: phase I 6-14 d (AMB Express 2017, doi
// 10.1186/s13568-017-0438-6), phase II 7-18, spawn run 14-21, casing to first pick
// 15-21 (Beyer, Basic Procedures for Agaricus Mushroom Growing, Penn State),
// harvest 35-42 (Six Steps to Mushroom Farming, Penn State): 77 to 116 d in all,
// with the published 14 weeks within; first pick 42 to 74 d after composting
// began, with the published 7 to 8 weeks within.
func TestSixStepsAgainstPublishedCycle(t *testing.T) {
	t.Parallel()
	c := crop(t, "white-bulk-2", "2026-03-02")
	// Phase I recorded: all else is bounded by the published ranges alone, but
	// for the two days a large room may take to fill and spawn.
	c.Recorded = []calendar.Record{{Stage: programme.PhaseI, On: date(t, "2026-02-10")}}
	got := compute(t, c, nil)
	begin := got.Stages[0].Start
	cookOut, _ := got.Stage(programme.CookOut)
	slack := 0
	for _, kind := range []programme.StageKind{programme.Filling, programme.Spawning} {
		s, _ := c.Programme.Stage(kind)
		slack += int(s.Days.Most)
	}
	if least, most := cookOut.Earliest.Sub(begin), cookOut.Latest.Sub(begin)-slack; least != 77 || most != 116 {
		t.Errorf("cycle of %d-%d d, published 77-116", least, most)
	}
	if days := cookOut.Start.Sub(begin); days < 98-7 || days > 98+7 {
		t.Errorf("usual cycle of %d d, published about 14 weeks", days)
	}
	if least, most := got.FirstPick.Earliest.Sub(begin), got.FirstPick.Latest.Sub(begin)-slack; least != 42 || most != 74 {
		t.Errorf("first pick after %d-%d d, published 42-74", least, most)
	}
	if days := got.FirstPick.Expected.Sub(begin); days < 49 || days > 56 {
		t.Errorf("usual first pick after %d d, published 7 to 8 weeks", days)
	}
	casing, _ := got.Stage(programme.Casing)
	if days := got.FirstPick.Expected.Sub(casing.Start); days < 18 || days > 21 {
		t.Errorf("first pick %d d after casing; 15-21 published, 18-21 common practice", days)
	}
}

// Third break 14-20 d and fourth 21-30 d after the first (7-10 d cycle, Beyer,
// Basic Procedures, Penn State), within a harvest of 35-42 d.
func TestBreakWindows(t *testing.T) {
	t.Parallel()
	c := crop(t, "white-shelves", "2026-03-02")
	c.Recorded = []calendar.Record{{Stage: programme.Cropping, On: date(t, "2026-05-04")}}
	got := compute(t, c, nil)
	if len(got.Breaks) != 4 {
		t.Fatalf("%d breaks, want 4", len(got.Breaks))
	}
	start := got.FirstPick.Expected
	for i, want := range [][2]int{{0, 0}, {7, 10}, {14, 20}, {21, 30}} {
		b := got.Breaks[i]
		if diff := cmp.Diff(want, [2]int{b.Earliest.Sub(start), b.Latest.Sub(start)}); diff != "" {
			t.Errorf("break %d (-published +got):\n%s", i+1, diff)
		}
		if b.Start < b.Earliest || b.Start > b.Latest || b.End.Sub(b.Start) != 4 {
			t.Errorf("break %d from %s until %s, window %s to %s", b.Number, b.Start, b.End, b.Earliest, b.Latest)
		}
	}
	cropping, _ := got.Stage(programme.Cropping)
	if last := got.Breaks[3]; last.Latest > cropping.End {
		t.Errorf("fourth break as late as %s, cropping ends %s", last.Latest, cropping.End)
	}
}

// One crop worked out by hand: white on shelves filled on Monday 2 March 2026.
func TestForwardByHand(t *testing.T) {
	t.Parallel()
	c := crop(t, "white-shelves", "2026-03-02")
	got := compute(t, c, nil)
	want := map[programme.StageKind]string{
		programme.PhaseI: "2026-02-21", programme.Filling: "2026-03-02", programme.PhaseII: "2026-03-02",
		programme.Spawning: "2026-03-13", programme.SpawnRun: "2026-03-13", programme.Casing: "2026-03-30",
		programme.CaseRun: "2026-03-30", programme.Pinning: "2026-04-07", programme.Cropping: "2026-04-18",
		programme.CookOut: "2026-05-23", programme.Idle: "2026-05-25",
	}
	for _, s := range got.Stages {
		if s.Start.String() != want[s.Stage] {
			t.Errorf("%s starts %s, want %s", s.Stage, s.Start, want[s.Stage])
		}
	}
	if got.Free.Expected.String() != "2026-05-26" {
		t.Errorf("room free %s, want 2026-05-26", got.Free.Expected)
	}
	if s, ok := got.StageOn(date(t, "2026-04-10")); !ok || s.Stage != programme.Pinning {
		t.Errorf("10 April is %s", s.Stage)
	}
	if _, ok := got.StageOn(date(t, "2026-05-26")); ok {
		t.Error("the crop still runs on the day its room is free")
	}
}

// Which places a crop holds when follows from the growing system: trays move
// from room to room, shelves stay, bulk takes a tunnel first and its room only
// from filling (general knowledge of the trade, no source).
func TestOccupanciesBySystem(t *testing.T) {
	t.Parallel()
	for id, want := range map[string][]string{
		"white-shelves":     {"growing room room-1 2026-03-02 2026-05-26"},
		"white-bulk-2":      {"tunnel tunnel-1 2026-02-19 2026-03-02", "growing room room-1 2026-03-02 2026-05-15"},
		"white-bulk-3":      {"tunnel tunnel-1 2026-02-02 2026-03-02", "growing room room-1 2026-03-02 2026-04-28"},
		"white-trays":       {"phase II room heat-1 2026-03-02 2026-03-13", "spawn-run room run-1 2026-03-13 2026-04-07", "growing room room-1 2026-04-07 2026-05-26"},
		"oyster-bags":       {"growing room room-1 2026-03-02 2026-05-14"},
		"shiitake-blocks":   {"spawn-run room run-1 2026-03-02 2026-05-31", "growing room room-1 2026-05-31 2026-07-24"},
		"lions-mane-blocks": {"growing room room-1 2026-03-02 2026-04-14"},
	} {
		got := compute(t, crop(t, id, "2026-03-02"), nil)
		lines := []string{}
		for _, o := range got.Occupancies {
			lines = append(lines, strings.Join([]string{string(o.Place), o.Facility, o.From.String(), o.Until.String()}, " "))
		}
		if diff := cmp.Diff(want, lines); diff != "" {
			t.Errorf("%s (-want +got):\n%s", id, diff)
		}
	}
}

// Casing four days late moves all that follows by four days and nothing before.
func TestSlipMovesWhatFollows(t *testing.T) {
	t.Parallel()
	c := crop(t, "white-shelves", "2026-03-02")
	before := compute(t, c, nil)
	casing, _ := before.Stage(programme.Casing)
	c.Recorded = []calendar.Record{
		{Stage: programme.Spawning, On: date(t, "2026-03-13")},
		{Stage: programme.Casing, On: casing.Start.Add(4)},
	}
	after := compute(t, c, nil)
	want := []programme.StageKind{programme.Casing, programme.CaseRun, programme.Pinning, programme.Cropping, programme.CookOut, programme.Idle, "free"}
	changes := calendar.Changes(before, after)
	if len(changes) != len(want) {
		t.Fatalf("changes %v, want the stages %v", changes, want)
	}
	for i, ch := range changes {
		if ch.Stage != want[i] || ch.To.Sub(ch.From) != 4 {
			t.Errorf("change %+v, want %s by 4 days", ch, want[i])
		}
	}
	if len(after.Flags) != 0 {
		t.Errorf("21 days of spawn run are within the published 14-21, yet flagged: %+v", after.Flags)
	}
}

// Between two recorded days the unrecorded stages keep within least and most.
func TestRecordedBothSides(t *testing.T) {
	t.Parallel()
	c := crop(t, "white-shelves", "2026-03-02")
	c.Recorded = []calendar.Record{
		{Stage: programme.Cropping, On: date(t, "2026-05-01")}, // 19 d after casing would be 2026-04-12
		{Stage: programme.Casing, On: date(t, "2026-04-12")},
	}
	got := compute(t, c, nil)
	pinning, _ := got.Stage(programme.Pinning)
	if pinning.Start != date(t, "2026-04-20") {
		t.Errorf("airing on %s, want the usual 8 d after casing", pinning.Start)
	}
	c.Recorded[0].On = date(t, "2026-04-27") // 15 d, the least: case run 5, airing 10
	got = compute(t, c, nil)
	pinning, _ = got.Stage(programme.Pinning)
	if pinning.Start != date(t, "2026-04-17") || pinning.Earliest != pinning.Start || pinning.Latest != pinning.Start {
		t.Errorf("airing on %s (%s to %s), want 2026-04-17 and no other day", pinning.Start, pinning.Earliest, pinning.Latest)
	}
	if len(got.Flags) != 0 {
		t.Errorf("flags %+v on days within the range", got.Flags)
	}
	// A filling that was never recorded gives way to the spawning that was.
	c.Recorded = []calendar.Record{{Stage: programme.Spawning, On: date(t, "2026-04-01")}}
	got = compute(t, c, nil)
	filling, _ := got.Stage(programme.Filling)
	if days := date(t, "2026-04-01").Sub(filling.Start); days != 20 { // filling 2 and phase II 18 at most
		t.Errorf("filling %d days before spawning, want 20, the most", days)
	}
}

func TestFlagsRealityOutsideTheRange(t *testing.T) {
	t.Parallel()
	c := crop(t, "white-shelves", "2026-03-02")
	c.Recorded = []calendar.Record{
		{Stage: programme.Filling, On: date(t, "2026-03-02")},
		{Stage: programme.SpawnRun, On: date(t, "2026-03-14")},
		{Stage: programme.Casing, On: date(t, "2026-04-10")},
		{Stage: programme.CookOut, On: date(t, "2026-05-01")},
	}
	got := compute(t, c, nil)
	if len(got.Flags) != 2 {
		t.Fatalf("flags %+v, want two", got.Flags)
	}
	long, short := got.Flags[0], got.Flags[1]
	if long.Stage != programme.SpawnRun || long.Days != 27 || long.Least != 14 || long.Most != 21 || long.Source.Status != programme.Published {
		t.Errorf("first flag %+v, want 27 days of spawn run against a published 14-21", long)
	}
	if short.Stage != programme.Casing || short.Until != programme.CookOut || short.Days != 21 || short.Least != 50 {
		t.Errorf("second flag %+v, want 21 days from casing to cook-out against 50 and more", short)
	}
	if !strings.Contains(long.Reason, "27 days from spawn run to casing") {
		t.Errorf("reason %q", long.Reason)
	}
}

// A crop ended early: no break is expected once the room is steamed.
func TestEndedEarly(t *testing.T) {
	t.Parallel()
	c := crop(t, "white-shelves", "2026-03-02")
	freed := date(t, "2026-05-09")
	c.Recorded = []calendar.Record{{Stage: programme.Cropping, On: date(t, "2026-04-18")}, {Stage: programme.CookOut, On: date(t, "2026-05-07")}}
	c.Freed = &freed
	got := compute(t, c, nil)
	if len(got.Breaks) != 3 || got.Breaks[2].End != date(t, "2026-05-07") {
		t.Errorf("breaks %+v, want three, the last cut off by the cook-out", got.Breaks)
	}
	if got.Free != (calendar.Window{Earliest: freed, Expected: freed, Latest: freed}) {
		t.Errorf("free %+v", got.Free)
	}
	if o := got.Occupancies[len(got.Occupancies)-1]; o.Until != freed {
		t.Errorf("room held until %s, freed %s", o.Until, freed)
	}
}

func TestComputeRefuses(t *testing.T) {
	t.Parallel()
	day := func(s string) calendar.Date { return date(t, s) }
	for name, c := range map[string]struct {
		change func(*calendar.Crop)
		want   string
	}{
		"no programme":      {func(c *calendar.Crop) { c.Programme = nil }, "no programme"},
		"filled long ago":   {func(c *calendar.Crop) { c.Fill = day("1970-01-01") - 1 }, "give a day from"},
		"stage not its own": {func(c *calendar.Crop) { c.Recorded = []calendar.Record{{Stage: "sauna", On: c.Fill}} }, "no such stage"},
		"recorded twice": {func(c *calendar.Crop) {
			c.Recorded = []calendar.Record{{programme.Casing, c.Fill}, {programme.Casing, c.Fill}}
		}, "twice"},
		"cased before spawn": {func(c *calendar.Crop) {
			c.Recorded = []calendar.Record{{programme.Casing, day("2026-03-20")}, {programme.SpawnRun, day("2026-03-21")}}
		}, "spawn run, which comes first"},
		"freed before crop": {func(c *calendar.Crop) {
			f := day("2026-03-01")
			c.Freed = &f
			c.Recorded = []calendar.Record{{programme.Casing, day("2026-03-20")}}
		}, "casing, which comes first"},
		"record off the map": {func(c *calendar.Crop) { c.Recorded = []calendar.Record{{programme.Casing, calendar.LastDate + 1}} }, "give a day from"},
	} {
		bad := crop(t, "white-shelves", "2026-03-02")
		c.change(&bad)
		_, err := calendar.Compute(bad, nil)
		var cropErr *calendar.CropError
		var recordErr *calendar.RecordError
		if !errors.As(err, &cropErr) && !errors.As(err, &recordErr) {
			t.Errorf("%s: error %v", name, err)
			continue
		}
		if !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %q does not say %q", name, err, c.want)
		}
	}
}
