package background_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"breakshare.example/services/platform/background"
)

// waits is work that is ready and goes on until it is stopped.
func waits(ctx context.Context, ready func()) {
	ready()
	ready() // a second call does nothing
	<-ctx.Done()
}

func TestStartedTellsThatTheWorkIsReady(t *testing.T) {
	t.Parallel()
	goOn := make(chan struct{})
	r := background.New("spawn watch", func(ctx context.Context, ready func()) {
		<-goOn
		waits(ctx, ready)
	})
	if err := r.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	select {
	case <-r.Started():
		t.Error("ready before the work said so")
	default:
	}
	close(goOn)
	<-r.Started()
	if err := r.Stop(t.Context()); err != nil {
		t.Error(err)
	}
}

func TestARunnerStartsOnce(t *testing.T) {
	t.Parallel()
	r := background.New("spawn watch", waits)
	if err := r.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := r.Start(t.Context()); err == nil || !strings.Contains(err.Error(), "spawn watch: started before") {
		t.Errorf("got %v, want a refusal that names the runner", err)
	}
	for range 2 {
		if err := r.Stop(t.Context()); err != nil {
			t.Error(err)
		}
	}
	if err := r.Start(t.Context()); err == nil {
		t.Error("started again after it was stopped")
	}
}

func TestStopOfOneThatNeverStarted(t *testing.T) {
	t.Parallel()
	if err := background.New("spawn watch", waits).Stop(t.Context()); err != nil {
		t.Error(err)
	}
}

func TestStopWaitsNoLongerThanAsked(t *testing.T) {
	t.Parallel()
	end := make(chan struct{})
	r := background.New("spawn watch", func(context.Context, func()) { <-end })
	if err := r.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := r.Stop(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the end of the context", err)
	}
	close(end)
	if err := r.Stop(t.Context()); err != nil {
		t.Error(err)
	}
}

func TestTheWorkEndsWithTheContextOfItsStart(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	r := background.New("spawn watch", func(ctx context.Context, ready func()) {
		defer close(ended)
		waits(ctx, ready)
	})
	if err := r.Start(ctx); err != nil {
		t.Fatal(err)
	}
	cancel()
	<-ended
}

func TestEveryLooksAtOnceAndAfterEachInterval(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var looks []time.Duration
		begun := time.Now()
		r := background.New("spawn watch", background.Every(time.Hour, func(context.Context) {
			looks = append(looks, time.Since(begun))
		}))
		if err := r.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		<-r.Started()
		<-time.After(150 * time.Minute)
		if err := r.Stop(t.Context()); err != nil {
			t.Fatal(err)
		}
		if len(looks) != 3 || looks[0] != 0 || looks[1] != time.Hour || looks[2] != 2*time.Hour {
			t.Errorf("looked after %v, want 0, 1 h and 2 h", looks)
		}
	})
}

func TestOnEachIsReadyAfterTheFirstLook(t *testing.T) {
	t.Parallel()
	ticks, looks := make(chan time.Time), make(chan int, 2)
	n := 0
	r := background.New("spawn watch", background.OnEach(ticks, func(context.Context) {
		n++
		looks <- n
	}))
	if err := r.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	<-r.Started()
	if got := <-looks; got != 1 {
		t.Errorf("look %d came first", got)
	}
	ticks <- time.Time{}
	if got := <-looks; got != 2 {
		t.Errorf("look %d followed", got)
	}
	if err := r.Stop(t.Context()); err != nil {
		t.Error(err)
	}
}
