package clock_test

import (
	"sync"
	"testing"
	"time"

	"breakshare.example/services/platform/clock"
)

func TestSystemIsUTCAndPresent(t *testing.T) {
	t.Parallel()
	before := time.Now()
	got := clock.System().Now()
	after := time.Now()
	if got.Location() != time.UTC {
		t.Errorf("System().Now() is in %v, want UTC", got.Location())
	}
	if got.Before(before) || got.After(after) {
		t.Errorf("System().Now() = %v, want between %v and %v", got, before, after)
	}
}

func TestManualMovesOnlyWhenTold(t *testing.T) {
	t.Parallel()
	zone := time.FixedZone("UTC+2", 2*60*60)
	start := time.Date(2025, 3, 1, 16, 0, 0, 0, zone)
	m := clock.NewManual(start)
	if !m.Now().Equal(start) || m.Now().Location() != time.UTC {
		t.Errorf("Now() = %v, want %v in UTC", m.Now(), start.UTC())
	}
	m.Advance(90 * time.Minute)
	if want := start.Add(90 * time.Minute); !m.Now().Equal(want) {
		t.Errorf("after Advance: %v, want %v", m.Now(), want)
	}
	m.Advance(-30 * time.Minute)
	if want := start.Add(time.Hour); !m.Now().Equal(want) {
		t.Errorf("after a step back: %v, want %v", m.Now(), want)
	}
	other := time.Date(2024, 2, 29, 0, 0, 0, 0, zone)
	m.Set(other)
	if !m.Now().Equal(other) || m.Now().Location() != time.UTC {
		t.Errorf("after Set: %v, want %v in UTC", m.Now(), other.UTC())
	}
}

func TestManualFromManyGoroutines(t *testing.T) {
	t.Parallel()
	start := time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC)
	var c clock.Clock = clock.NewManual(start)
	var wg sync.WaitGroup
	for range 20 {
		wg.Go(func() {
			c.(*clock.Manual).Advance(time.Second)
			_ = c.Now()
		})
	}
	wg.Wait()
	if want := start.Add(20 * time.Second); !c.Now().Equal(want) {
		t.Errorf("Now() = %v, want %v: a step was lost", c.Now(), want)
	}
}
