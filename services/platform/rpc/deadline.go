package rpc

import (
	"context"
	"time"

	"breakshare.example/services/platform/fault"
)

// How a server spends the time that a caller gives it.
const (
	// shave is taken off an incoming deadline, so that the answer "it took too
	// long", which says what did, reaches the caller before its own timer ends.
	shave = 20 * time.Millisecond
	// leastTime is what must be left for a unary call to be begun at all: work
	// that nobody waits for any more only slows the work that is waited for.
	leastTime = 100 * time.Millisecond
	// DefaultServerDeadline is given to a unary call whose caller set none.
	DefaultServerDeadline = 10 * time.Second
)

// deadlines shaves the deadline, refuses a unary call with less than leastTime
// left after it, and gives fallback to a unary call that has none. A stream
// without a deadline runs as long as both ends like.
func deadlines(fallback time.Duration) step {
	return func(ctx context.Context, c call, next func(context.Context) error) error {
		due, ok := ctx.Deadline()
		switch {
		case ok:
			due = due.Add(-shave)
			if left := time.Until(due); !c.stream && left < leastTime {
				return fault.New(fault.Deadline, "TOO_LATE",
					"%v are left to answer, at least %v are needed: nothing was begun; call with a longer deadline",
					max(left, 0).Round(time.Millisecond), leastTime)
			}
		case c.stream:
			return next(ctx)
		default:
			due = time.Now().Add(fallback)
		}
		ctx, cancel := context.WithDeadline(ctx, due)
		defer cancel()
		return next(ctx)
	}
}
