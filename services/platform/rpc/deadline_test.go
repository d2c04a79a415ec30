package rpc

import (
	"context"
	"testing"
	"time"

	"breakshare.example/services/platform/fault"
)

// run passes one call through the deadline step and returns the deadline that
// the handler saw.
func run(ctx context.Context, c call, fallback time.Duration) (due time.Time, ok, ran bool, err error) {
	err = deadlines(fallback)(ctx, c, func(ctx context.Context) error {
		due, ok = ctx.Deadline()
		ran = true
		return nil
	})
	return due, ok, ran, err
}

func TestDeadlineIsShaved(t *testing.T) {
	t.Parallel()
	for _, c := range []call{{method: unaryCall}, {method: outputCall, stream: true}} {
		outer := time.Now().Add(time.Hour)
		ctx, cancel := context.WithDeadline(context.Background(), outer)
		defer cancel()
		due, _, ran, err := run(ctx, c, time.Minute)
		if err != nil || !ran {
			t.Fatalf("%v: %v, ran %v", c, err, ran)
		}
		if got := outer.Sub(due); got != shave {
			t.Errorf("%v: %v was shaved, want %v", c, got, shave)
		}
	}
}

func TestTooLateIsRefusedBeforeItBegins(t *testing.T) {
	t.Parallel()
	// 100 ms are there, but not after the shave: whatever the machine's load,
	// no more will be left when the step looks.
	ctx, cancel := context.WithTimeout(context.Background(), leastTime+shave-time.Millisecond)
	defer cancel()
	_, _, ran, err := run(ctx, call{method: unaryCall}, time.Minute)
	if ran || fault.KindOf(err) != fault.Deadline || fault.From(err).Reason != "TOO_LATE" {
		t.Errorf("error %v, ran %v; want it refused as too late", err, ran)
	}
	if _, _, ran, err := run(ctx, call{method: outputCall, stream: true}, time.Minute); err != nil || !ran {
		t.Errorf("a stream with little time: error %v, ran %v; want it begun", err, ran)
	}
}

func TestDefaultDeadline(t *testing.T) {
	t.Parallel()
	before := time.Now()
	due, ok, _, err := run(context.Background(), call{method: unaryCall}, time.Minute)
	if err != nil || !ok || due.Before(before.Add(time.Minute)) || due.After(time.Now().Add(time.Minute)) {
		t.Errorf("deadline %v %v, error %v; want a minute from now", due, ok, err)
	}
	if due, ok, _, err := run(context.Background(), call{method: outputCall, stream: true}, time.Minute); ok || err != nil {
		t.Errorf("a stream got the deadline %v (error %v), want none", due, err)
	}
}

func TestClientGivesADeadline(t *testing.T) {
	t.Parallel()
	seen := make(chan time.Time, 1)
	svc := &service{onUnary: func(ctx context.Context) error {
		due, _ := ctx.Deadline()
		seen <- due
		return nil
	}}
	r := newRig(t, svc, func(so *ServerOptions, do *DialOptions) { do.Deadline, so.Deadline = time.Minute, time.Hour })
	if _, err := r.client.UnaryCall(as("coordinator"), nil); err != nil {
		t.Fatal(err)
	}
	if due := <-seen; due.IsZero() || due.After(time.Now().Add(time.Minute)) {
		t.Errorf("the handler's deadline is %v, want at most a minute off", due)
	}
}
