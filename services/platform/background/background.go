// Package background owns the life of work that goes on beside the calls of a service: it is
// started once, says when it is ready, and is stopped and waited for.
package background

import (
	"context"
	"fmt"
	"sync"
	"time"
)

// Work goes on until ctx ends. It calls ready once it does what others may wait for; calls after
// the first do nothing.
type Work func(ctx context.Context, ready func())

// Runner runs one piece of work. It is a part of a service's host.
type Runner struct {
	name    string
	work    Work
	started chan struct{}

	mu     sync.Mutex
	cancel context.CancelFunc
	done   chan struct{}
}

// New returns a runner that is not started. Its errors name it, so the name says whose work it is.
func New(name string, work Work) *Runner {
	return &Runner{name: name, work: work, started: make(chan struct{})}
}

// Start lets the work go on until Stop or until ctx ends. It returns at once; Started tells when
// the work is ready. A runner starts once: a second Start fails.
func (r *Runner) Start(ctx context.Context) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.done != nil {
		return fmt.Errorf("%s: started before; a runner starts once", r.name)
	}
	ctx, r.cancel = context.WithCancel(ctx)
	r.done = make(chan struct{})
	ready := sync.OnceFunc(func() { close(r.started) })
	go func() {
		defer close(r.done)
		r.work(ctx, ready)
	}()
	return nil
}

// Started is closed once the work is ready.
func (r *Runner) Started() <-chan struct{} { return r.started }

// Stop ends the work and waits for it, or for ctx to end. Stopping a runner that never started,
// or twice, is harmless.
func (r *Runner) Stop(ctx context.Context) error {
	r.mu.Lock()
	cancel, done := r.cancel, r.done
	r.mu.Unlock()
	if done == nil {
		return nil
	}
	cancel()
	select {
	case <-done:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("%s: stopping: %w", r.name, ctx.Err())
	}
}

// Pause waits for d, and tells whether ctx is still good.
func Pause(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	}
}

// Every is work that looks at once, is ready after that, and looks again after each interval.
func Every(interval time.Duration, look func(ctx context.Context)) Work {
	return func(ctx context.Context, ready func()) {
		ticker := time.NewTicker(interval)
		defer ticker.Stop()
		OnEach(ticker.C, look)(ctx, ready)
	}
}

// OnEach is work that looks at once, is ready after that, and looks again at each tick.
func OnEach(ticks <-chan time.Time, look func(ctx context.Context)) Work {
	return func(ctx context.Context, ready func()) {
		look(ctx)
		ready()
		for {
			select {
			case <-ctx.Done():
				return
			case <-ticks:
				look(ctx)
			}
		}
	}
}
