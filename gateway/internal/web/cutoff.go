package web

import (
	"time"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// cutoff is until when a kitchen may order for a day.
type cutoff struct {
	Set    bool
	Until  string // as the page writes it
	Passed bool
	Left   int64  // seconds
	Hours  int64  // of what is left
	Mins   int64  // beside the hours
	Closed string // name of a day without deliveries; empty for others
}

// cutoffOf reckons the cut-off of a day from the co-op's rules; the order service has the last
// word when an order is sent.
func (v *visit) cutoffOf(rules *orderv1.OrderingSettings, day string) cutoff {
	c := cutoff{}
	for _, closed := range rules.GetClosedDays() {
		if closed.GetDate() == day {
			c.Closed = closed.GetName()
		}
	}
	if rules.GetCutoffTime() == "" {
		return c
	}
	at, err := time.ParseInLocation("2006-01-02 15:04", addDays(day, -int(rules.GetCutoffDaysBefore()))+" "+rules.GetCutoffTime(), v.zone)
	if err != nil {
		return c
	}
	c.Set, c.Until, c.Passed = true, v.words.Instant(at, v.zone), !v.now.Before(at)
	if !c.Passed {
		left := at.Sub(v.now)
		c.Left, c.Hours, c.Mins = int64(left.Seconds()), int64(left.Hours()), int64(left.Minutes())%60
	}
	return c
}

// Soon tells that so little is left that it counts down.
func (c cutoff) Soon() bool { return c.Hours < 48 }

// Open tells that orders are taken for the day.
func (c cutoff) Open() bool { return !c.Passed && c.Closed == "" }
