package calendar_test

import (
	"fmt"
	"testing"
	"time"

	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
)

// twoThousand lays 2,000 crops of all programmes over 200 rooms, ten after one
// another in each, the first of each begun.
func twoThousand(b *testing.B) []calendar.Crop {
	all := programmes(b)
	crops := make([]calendar.Crop, 0, 2000)
	for room := range 200 {
		fill := calendar.On(2026, time.January, 5).Add(room % 28)
		for k := range 10 {
			p := all[(room+k)%len(all)]
			c := calendar.Crop{ID: fmt.Sprintf("crop-%03d-%d", room, k), Programme: p, Fill: fill, Facilities: map[programme.Place]string{
				programme.GrowingRoom: fmt.Sprintf("room-%03d", room),
			}}
			if k == 0 {
				c.Recorded = []calendar.Record{{Stage: programme.Filling, On: fill}, {Stage: programme.Pinning, On: fill.Add(32)}}
			}
			crops = append(crops, c)
			fill = fill.Add(int(p.Cycle().Usual) + 7)
		}
	}
	return crops
}

// BenchmarkSlip records a cook-out days late in one crop, recomputes all 2,000
// and looks for conflicts: to stay under 50 ms.
func BenchmarkSlip(b *testing.B) {
	crops, rules := twoThousand(b), sundayRules(b)
	late := calendar.Record{Stage: programme.CookOut, On: crops[0].Fill.Add(100)}
	crops[0].Recorded = append(crops[0].Recorded, late)
	b.ReportAllocs()
	for b.Loop() {
		calendars, err := calendar.Recompute(crops, rules)
		if err != nil {
			b.Fatal(err)
		}
		if len(calendar.Conflicts(crops, calendars, rules)) == 0 {
			b.Fatal("the slip should run into the next crop")
		}
	}
}

// BenchmarkRecompute is the calendar alone.
func BenchmarkRecompute(b *testing.B) {
	crops, rules := twoThousand(b), sundayRules(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := calendar.Recompute(crops, rules); err != nil {
			b.Fatal(err)
		}
	}
}
