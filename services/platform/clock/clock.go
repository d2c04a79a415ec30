// Package clock gives the time to whoever needs it, so that no rule and no
// test depends on the wall clock: the system's in production, one set by hand
// in tests and in the demo.
package clock

import (
	"sync"
	"time"
)

// Clock tells the present instant, always in UTC. Implementations are safe
// for use by many goroutines.
type Clock interface {
	Now() time.Time
}

// System returns the machine's clock.
func System() Clock { return system{} }

type system struct{}

func (system) Now() time.Time { return time.Now().UTC() }

// Manual is a clock that stands still until it is told to move.
type Manual struct {
	mu  sync.Mutex
	now time.Time
}

// NewManual returns a clock standing at t.
func NewManual(t time.Time) *Manual { return &Manual{now: t.UTC()} }

// Now returns the instant the clock stands at, in UTC.
func (m *Manual) Now() time.Time {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.now
}

// Set puts the clock to t, forwards or back.
func (m *Manual) Set(t time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.now = t.UTC()
}

// Advance moves the clock by d, back when d is negative.
func (m *Manual) Advance(d time.Duration) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.now = m.now.Add(d)
}
