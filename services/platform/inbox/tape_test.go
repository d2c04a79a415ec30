package inbox_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"breakshare.example/services/platform/bus"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/testkit"
)

// A bus that loses, repeats and shuffles, and a handler that fails now and
// then: whatever the tape, every event is applied once and in order, given
// that the last one arrives.
func TestAnyTapeOfDeliveriesEndsInOrder(t *testing.T) {
	t.Parallel()
	s := newStand(t)
	var mu sync.Mutex
	failures := map[string]int{} // by co-op and number, how often it still fails
	start(t, s.consumer(t, func(o *inbox.Options) {
		o.MaxAttempts = 10 // more than any tape fails one
		o.AckWait = 200 * time.Millisecond
		o.Handlers = handlers(func(ctx context.Context, tx pgx.Tx, m inbox.Message, body *wrapperspb.Int64Value) error {
			if err := record(ctx, tx, m, body); err != nil {
				return err
			}
			mu.Lock()
			defer mu.Unlock()
			key := fmt.Sprint(m.CoopID, body.Value)
			if failures[key]--; failures[key] >= 0 {
				return errBoom
			}
			return nil
		})
	}))
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 1))
		coop := testkit.Coop()
		n := 1 + rng.Int64N(12)
		var tape []bus.Event
		var want []int64
		for i := int64(1); i <= n; i++ {
			e := s.write(t, coop, wrapperspb.Int64(i))
			copies := rng.IntN(3)
			if i == n {
				copies = max(1, copies)
			}
			tape = append(tape, slices.Repeat([]bus.Event{e}, copies)...)
			want = append(want, i)
			mu.Lock()
			failures[fmt.Sprint(coop.CoopID, i)] = rng.IntN(3)
			mu.Unlock()
		}
		rng.Shuffle(len(tape), func(i, j int) { tape[i], tape[j] = tape[j], tape[i] })
		for i, e := range tape {
			m := e.Message()
			m.Header.Set("Nats-Msg-Id", fmt.Sprintf("%s copy %d", e.ID, i)) // past the window of duplicates
			s.publish(t, m)
		}
		testkit.Eventually(t, fmt.Sprintf("seed %d: %v applied", seed, want), func() bool { return slices.Equal(s.supply(t, coop), want) })
	}
	s.awaitSettled(t)
	if letters := s.dead(t); len(letters) != 0 {
		t.Errorf("%d dead letters, want none", len(letters))
	}
}
