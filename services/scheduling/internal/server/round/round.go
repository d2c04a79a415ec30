// Package round owns what the service does each day by itself: soon after midnight
// of each co-op, steps that should have begun and are not recorded move on to
// today, and the crops that wait for them with them.
//
// Which day it is says the co-op's own calendar, and on which day a co-op's crops
// were last moved says the database; so it does not matter how often the round is
// made, by how many processes, or whether one slept through midnight.
package round

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"
)

// interval is the time between two looks for co-ops in which a new day has begun.
const interval = time.Minute

// Options say what a round does. Log, Coops and Shift must be there.
type Options struct {
	Log *slog.Logger
	// Coops lists the co-ops, by id.
	Coops func(ctx context.Context) ([]string, error)
	// Shift moves a co-op's overdue crops, unless that was done today, and returns
	// how many crops moved.
	Shift func(ctx context.Context, coopID string) (moved int, err error)
	// Ticks starts a round each; nil for one each minute.
	Ticks <-chan time.Time
	// Made, if set, is told of the end of each round.
	Made func()
}

// Runner makes the rounds. It is a part of the host's.
type Runner struct {
	Options
	started chan struct{}
	mu      sync.Mutex
	cancel  context.CancelFunc
	done    chan struct{}
}

// New returns a runner that is not started.
func New(o Options) *Runner { return &Runner{Options: o, started: make(chan struct{})} }

// Start makes the first round at once and then one at each tick, until Stop or
// until ctx ends. It does not wait for the first; Started does. A runner starts
// once.
func (r *Runner) Start(ctx context.Context) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.done != nil {
		return errors.New("round: the runner was started before")
	}
	ctx, r.cancel = context.WithCancel(ctx)
	r.done = make(chan struct{})
	go func() {
		defer close(r.done)
		r.run(ctx)
	}()
	return nil
}

// Started is closed after the first round.
func (r *Runner) Started() <-chan struct{} { return r.started }

// Stop ends the rounds and waits for the one at hand, or for ctx to end. Stopping
// a runner that never started, or twice, is harmless.
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
		return fmt.Errorf("round: stopping: %w", ctx.Err())
	}
}

func (r *Runner) run(ctx context.Context) {
	ticks := r.Ticks
	if ticks == nil {
		ticker := time.NewTicker(interval)
		defer ticker.Stop()
		ticks = ticker.C
	}
	r.round(ctx)
	close(r.started)
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticks:
			r.round(ctx)
		}
	}
}

// round looks at every co-op. What goes wrong with one does not keep the others
// waiting; it is tried again with the next round.
func (r *Runner) round(ctx context.Context) {
	if r.Made != nil {
		defer r.Made()
	}
	coops, err := r.Coops(ctx)
	if err != nil && ctx.Err() == nil {
		r.Log.Warn("daily round not made; tried again soon", "error", err)
	}
	for _, coop := range coops {
		moved, err := r.Shift(ctx, coop)
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			r.Log.Warn("overdue crops not moved; tried again soon", "coop", coop, "error", err)
		case moved > 0:
			r.Log.Info("overdue crops moved", "coop", coop, "crops", moved)
		}
	}
}
