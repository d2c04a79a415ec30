package server_test

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/server"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/pg"
)

// lasting is a run that solves for so long, and tells it ten times a second.
func lasting(solving time.Duration) func(context.Context, match.Day, func(match.Step)) (match.Match, error) {
	return func(ctx context.Context, _ match.Day, told func(match.Step)) (match.Match, error) {
		tenth := time.NewTicker(100 * time.Millisecond)
		defer tenth.Stop()
		for end := time.Now().Add(solving); time.Now().Before(end); {
			told(match.Solving)
			select {
			case <-ctx.Done():
				return match.Match{}, ctx.Err()
			case <-tenth.C:
			}
		}
		told(match.Verifying)
		return match.Match{}, nil
	}
}

const (
	solving   = orderv1.MatchStep_MATCH_STEP_SOLVING
	verifying = orderv1.MatchStep_MATCH_STEP_VERIFYING
)

// Whoever waits for a long match hears of it each second, and no more often.
func TestALongMatchTellsItsStepEachSecond(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var steps []orderv1.MatchStep
		var at []time.Duration
		begun := time.Now()
		err := server.New(server.Options{SolveWithin: time.Minute}).Solve(t.Context(), lasting(3500*time.Millisecond), func(s orderv1.MatchStep) error {
			steps, at = append(steps, s), append(at, time.Since(begun))
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if want := []orderv1.MatchStep{solving, solving, solving, solving, verifying}; !slices.Equal(steps, want) {
			t.Errorf("told %v, want %v", steps, want)
		}
		if want := []time.Duration{0, time.Second, 2 * time.Second, 3 * time.Second, 3500 * time.Millisecond}; !slices.Equal(at, want) {
			t.Errorf("told after %v, want %v", at, want)
		}
	})
}

// A match ends when its time is over, when the caller goes, and when nobody takes its steps any more.
func TestAMatchThatNobodyWaitsForEnds(t *testing.T) {
	t.Parallel()
	gone := errors.New("the stream is closed")
	for _, c := range []struct {
		name string
		ctx  func(ctx context.Context) (context.Context, context.CancelFunc)
		step func(told int) error
		want error
		end  time.Duration
	}{
		{"its time is over", context.WithCancel, func(int) error { return nil }, context.DeadlineExceeded, 10 * time.Second},
		{
			"the caller goes", func(ctx context.Context) (context.Context, context.CancelFunc) {
				ctx, cancel := context.WithCancel(ctx)
				context.AfterFunc(ctx, cancel)
				timer := time.AfterFunc(1500*time.Millisecond, cancel)
				return ctx, func() { timer.Stop(); cancel() }
			}, func(int) error { return nil }, context.Canceled, 1500 * time.Millisecond,
		},
		{"nobody takes its steps", context.WithCancel, func(told int) error {
			if told < 3 {
				return nil
			}
			return gone
		}, gone, 2 * time.Second},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				begun, told := time.Now(), 0
				ctx, cancel := c.ctx(t.Context())
				defer cancel()
				err := server.New(server.Options{SolveWithin: 10 * time.Second}).Solve(ctx, lasting(time.Hour), func(orderv1.MatchStep) error {
					told++
					return c.step(told)
				})
				if !errors.Is(err, c.want) {
					t.Errorf("%v, want %v", err, c.want)
				}
				if took := time.Since(begun); took != c.end {
					t.Errorf("it went on for %v, want %v", took, c.end)
				}
			})
		})
	}
}

// A coordinator who goes away before the match is stored leaves none behind.
func TestAMatchThatWasCalledOffIsNotStored(t *testing.T) {
	t.Parallel()
	r := ready(t)
	err := pg.InTx(t.Context(), r.pool, r.coop.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		// As long as somebody else has the book, no match is stored.
		if err := store.Take(ctx, tx, store.Book); err != nil {
			return err
		}
		call, hangUp := context.WithCancel(r.office(t))
		defer hangUp()
		stream, err := r.RunMatch(call, &orderv1.RunMatchRequest{RequestId: ids.New(), DeliveryDate: tomorrow})
		if err != nil {
			return err
		}
		for {
			resp, err := stream.Recv()
			if err != nil {
				if fault.FromStatus(err).Kind != fault.Cancelled {
					t.Errorf("hung up: %v, want cancelled", err)
				}
				return nil
			}
			if resp.GetStep() == verifying {
				hangUp()
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	// The next has the first number.
	if m := r.matched(t, tomorrow); m.GetMatchId() != "20261126-1" {
		t.Errorf("the next match is %s: the one called off was stored", m.GetMatchId())
	}
}
