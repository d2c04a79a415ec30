package web

import (
	"context"
	"fmt"
	"net/http"
	"sync/atomic"
	"time"
)

// timing is what a page costs: how long it takes and how many calls to services.
type timing struct {
	begun time.Time
	calls atomic.Int64
}

type timingKey struct{}

// withTiming begins to measure a page.
func withTiming(ctx context.Context) (context.Context, *timing) {
	t := &timing{begun: time.Now()}
	return context.WithValue(ctx, timingKey{}, t), t
}

// tallyCall counts a call to a service.
func tallyCall(ctx context.Context) {
	if t, ok := ctx.Value(timingKey{}).(*timing); ok {
		t.calls.Add(1)
	}
}

// tell says in the answer's head what it cost, as browsers' tools and benchmarks read it (W3C,
// Server Timing): milliseconds until the answer was built, and the calls in its description.
func (t *timing) tell(w http.ResponseWriter) {
	took := float64(time.Since(t.begun).Microseconds()) / 1000
	w.Header().Set("Server-Timing", fmt.Sprintf("page;dur=%.3f, calls;desc=%d", took, t.calls.Load()))
}
