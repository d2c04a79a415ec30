package demoday

import (
	"fmt"
	"time"

	"breakshare.example/deploy/internal/coopfiles"
)

// Hours of the day at which the demonstration does things, in the co-op's time zone.
const (
	afternoon = 14*time.Hour + 30*time.Minute // of the day before
	morning   = 6*time.Hour + 30*time.Minute
	delivered = 11 * time.Hour
)

// Plan is when the demonstration takes place.
type Plan struct {
	// Day of delivery, ISO 8601.
	Day  string
	date time.Time // midnight of the day in the co-op's zone
}

// NewPlan takes the day asked for, or, where none is, the last one for which the files have
// both orders and expected picks.
func NewPlan(files *coopfiles.Folder, day string) (Plan, error) {
	zone, err := time.LoadLocation(files.Coop.TimeZone)
	if err != nil {
		return Plan{}, err
	}
	if day == "" {
		if day = lastDay(files); day == "" {
			return Plan{}, fmt.Errorf("no day has both orders and expected picks: add rows to orders.csv and expected_picks.csv, or name a day with --day")
		}
	}
	date, err := time.ParseInLocation(time.DateOnly, day, zone)
	if err != nil {
		return Plan{}, fmt.Errorf("%q is no day: write it like 2026-11-26", day)
	}
	return Plan{Day: day, date: date}, nil
}

func lastDay(files *coopfiles.Folder) string {
	ordered := make(map[string]bool)
	for _, o := range files.Orders {
		ordered[o.DeliveryDate] = true
	}
	last := ""
	for _, e := range files.ExpectedPicks {
		if ordered[e.Date] {
			last = max(last, e.Date)
		}
	}
	return last
}

// Afternoon is when the match is run: the day before, in the co-op's zone.
func (p Plan) Afternoon() time.Time { return at(p.date.AddDate(0, 0, -1), afternoon) }

// Morning is when the day's picks are weighed in.
func (p Plan) Morning() time.Time { return at(p.date, morning) }

// Delivered is when the kitchens have their packs.
func (p Plan) Delivered() time.Time { return at(p.date, delivered) }

// at is a time of day by the clock on the wall, also where the clocks change that night.
func at(midnight time.Time, of time.Duration) time.Time {
	y, m, d := midnight.Date()
	return time.Date(y, m, d, int(of.Hours()), int(of.Minutes())%60, 0, 0, midnight.Location())
}

// HoldBack takes the picks of the day out of the files, since they are weighed only in the
// morning, and returns them. Picks of days after it are left out: they have not happened.
func (p Plan) HoldBack(files *coopfiles.Folder) []coopfiles.Pick {
	var before, later []coopfiles.Pick
	for _, pick := range files.Picks {
		if pick.Date < p.Day {
			before = append(before, pick)
		} else if pick.Date == p.Day {
			later = append(later, pick)
		}
	}
	files.Picks = before
	return later
}
