package round_test

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/scheduling/internal/server/round"
)

// A co-op that cannot be served does not keep the others waiting, and is tried
// again with the next round; a round begins with the start and with each tick.
func TestRounds(t *testing.T) {
	t.Parallel()
	ticks, made := make(chan time.Time), make(chan struct{})
	var asked []string
	failed := false
	r := round.New(round.Options{
		Log: slog.New(slog.DiscardHandler), Ticks: ticks, Made: func() { made <- struct{}{} },
		Coops: func(context.Context) ([]string, error) {
			if len(asked) == 2 && !failed {
				failed = true
				return nil, errors.New("the database is away")
			}
			return []string{"a", "b"}, nil
		},
		Shift: func(_ context.Context, coop string) (int, error) {
			asked = append(asked, coop)
			if coop == "a" {
				return 0, errors.New("a crop is locked")
			}
			return 1, nil
		},
	})
	if err := r.Stop(t.Context()); err != nil {
		t.Errorf("stopped before it started: %v", err)
	}
	if err := r.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := r.Start(t.Context()); err == nil {
		t.Error("it started twice")
	}
	<-made
	<-r.Started()
	for range 2 {
		ticks <- time.Time{}
		<-made
	}
	if err := r.Stop(t.Context()); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"a", "b", "a", "b"}, asked); diff != "" {
		t.Errorf("co-ops asked, the second round failing (-want +got):\n%s", diff)
	}
}

// A stop that may not wait says so, and ends the round all the same.
func TestStopDoesNotWaitForEver(t *testing.T) {
	t.Parallel()
	in, out := make(chan struct{}), make(chan struct{})
	r := round.New(round.Options{
		Log:   slog.New(slog.DiscardHandler),
		Coops: func(context.Context) ([]string, error) { return []string{"a"}, nil },
		Shift: func(ctx context.Context, _ string) (int, error) {
			close(in)
			<-out
			return 0, ctx.Err()
		},
	})
	if err := r.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	<-in
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if err := r.Stop(gone); !errors.Is(err, context.Canceled) {
		t.Errorf("stop: %v", err)
	}
	close(out)
	if err := r.Stop(t.Context()); err != nil {
		t.Error(err)
	}
}
