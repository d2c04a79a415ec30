package climate_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"breakshare.example/services/harvest/internal/climate"
)

var start = time.Date(2026, time.November, 25, 0, 0, 0, 0, time.UTC)

func bound(v int64) *int64 { return &v }

// pinning allows 800 ppm of carbon dioxide for pins to form (Penn State, Six
// Steps to Mushroom Farming), the spawn run before it any amount.
func pinning(from time.Time) func(time.Time) climate.Setting {
	return func(at time.Time) climate.Setting {
		if at.Before(from) {
			return climate.Setting{CropID: "c", Step: "case run"}
		}
		return climate.Setting{CropID: "c", Step: "pinning", Limit: climate.Limit{Most: bound(800)}}
	}
}

func each(values ...int64) []climate.Reading {
	var out []climate.Reading
	for i, v := range values {
		out = append(out, climate.Reading{Time: start.Add(time.Duration(i) * time.Hour), Value: v})
	}
	return out
}

func at(h int) time.Time { return start.Add(time.Duration(h) * time.Hour) }

func TestAlertsRaiseAndClearThemselves(t *testing.T) {
	t.Parallel()
	at2, at5 := at(5), at(8)
	setting := pinning(start)(start)
	want := []climate.Alert{
		{Setting: setting, Since: at(2), Last: at(4), LastValue: 900, Worst: 2500, Cleared: &at2},
		{Setting: setting, Since: at(7), Last: at(7), LastValue: 801, Worst: 801, Cleared: &at5},
		{Setting: setting, Since: at(9), Last: at(10), LastValue: 950, Worst: 999},
	}
	readings := each(700, 800, 1200, 2500, 900, 800, 500, 801, 400, 999, 950)
	got := climate.Check(nil, time.Time{}, readings, pinning(start))
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if again := climate.Check(&got[2], at(10), readings, pinning(start)); len(again) != 0 {
		t.Errorf("read a second time, %v changed", again)
	}
	// High before pinning begins is no matter; the limit begins with the step.
	if got := climate.Check(nil, time.Time{}, each(9000, 9000, 9000), pinning(at(2))); len(got) != 1 || !got[0].Since.Equal(at(2)) {
		t.Errorf("%v", got)
	}
	// And ends with it.
	open := want[2]
	free := func(time.Time) climate.Setting { return climate.Setting{} }
	if got := climate.Check(&open, at(10), []climate.Reading{{Time: at(11), Value: 9000}}, free); len(got) != 1 || got[0].Cleared == nil {
		t.Errorf("the crop is gone, and %v", got)
	}
}

// However readings are parted into messages, and in whatever order they stand
// in one, the alerts are the same.
func TestPartingReadingsChangesNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		readings := each(rapid.SliceOfN(rapid.Int64Range(700, 900), 1, 30).Draw(t, "values")...)
		whole := climate.Check(nil, time.Time{}, readings, pinning(at(3)))
		cut := rapid.IntRange(0, len(readings)).Draw(t, "cut")
		var open *climate.Alert
		var after time.Time
		var parted []climate.Alert
		for _, part := range [][]climate.Reading{readings[:cut], readings[cut:]} {
			part = rapid.Permutation(part).Draw(t, "part")
			made := climate.Check(open, after, part, pinning(at(3)))
			if open != nil && len(made) > 0 {
				parted = parted[:len(parted)-1]
			}
			parted = append(parted, made...)
			open = nil
			if n := len(parted); n > 0 && parted[n-1].Cleared == nil {
				last := parted[n-1]
				open = &last
			}
			for _, r := range part {
				if r.Time.After(after) {
					after = r.Time
				}
			}
		}
		if diff := cmp.Diff(whole, parted); diff != "" {
			t.Fatalf("(-whole +parted):\n%s", diff)
		}
	})
}

func TestTexts(t *testing.T) {
	t.Parallel()
	limit := climate.Limit{Least: bound(160), Most: bound(180)}
	cold := climate.Alert{Setting: climate.Setting{Step: "cropping", Limit: limit}, LastValue: 155}
	if got := climate.Text(climate.Air, cold); !strings.Contains(got, "below the 16.0 °C") || !strings.Contains(got, "15.5 °C") {
		t.Error(got)
	}
	stale := climate.Alert{Setting: climate.Setting{Step: "pinning", Limit: climate.Limit{Most: bound(800)}}, LastValue: 5000}
	if got := climate.Text(climate.CO2, stale); !strings.Contains(got, "above the 800 ppm") || !strings.Contains(got, "in danger") {
		t.Error(got)
	}
	stale.LastValue = 4999
	if got := climate.Text(climate.CO2, stale); strings.Contains(got, "in danger") {
		t.Error(got)
	}
	for _, k := range climate.Kinds {
		if least, most := k.Bounds(); least >= most || k.String() == "unknown" {
			t.Errorf("%d: %s from %d to %d", k, k, least, most)
		}
	}
	if slices.Contains(climate.Kinds, climate.Kind(0)) {
		t.Error("0 is a kind")
	}
}
