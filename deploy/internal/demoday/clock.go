package demoday

import (
	"sync"
	"time"
)

// Clock starts at an instant of the caller's choice and goes on from there as time does. It
// is safe for use by many goroutines.
type Clock struct {
	mu      sync.Mutex
	from    time.Time
	started time.Time
}

// NewClock returns a clock that shows from now.
func NewClock(from time.Time) *Clock { return &Clock{from: from.UTC(), started: time.Now()} }

// Now implements the platform's clock.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.from.Add(time.Since(c.started))
}

// Forward puts the clock to t and lets it go on from there. An instant that has passed
// already changes nothing: time does not run back.
func (c *Clock) Forward(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if t.After(c.from.Add(time.Since(c.started))) {
		c.from, c.started = t.UTC(), time.Now()
	}
}
