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
	"log/slog"
	"time"

	"breakshare.example/services/platform/background"
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

// Runner makes the rounds: the first at its start, then one at each tick. It is ready after
// the first.
type Runner struct {
	*background.Runner
	Options
}

// New returns a runner that is not started.
func New(o Options) *Runner {
	r := &Runner{Options: o}
	work := background.Every(interval, r.round)
	if o.Ticks != nil {
		work = background.OnEach(o.Ticks, r.round)
	}
	r.Runner = background.New("round", work)
	return r
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
