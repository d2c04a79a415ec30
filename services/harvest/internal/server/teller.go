package server

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/outlook"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
)

// Teller tells what follows from what was said and measured: which figure is
// used of each expected pick, and how each lot in a store keeps. It does so a
// moment after a change, since working it out takes longer than a push may; what
// changes without anybody's doing (a day passes, a stage is reached, another
// process takes a push) it finds when it looks at everything, every so often.
//
// It tells again only of what differs enough to matter. Several may run at once,
// in as many processes.
type Teller struct {
	server  *Server
	log     *slog.Logger
	every   time.Duration
	habits  map[string]knownHabits // by co-op
	started chan struct{}
	cancel  context.CancelFunc
	done    chan struct{}
}

type knownHabits struct {
	habits *outlook.Habits
	at     time.Time
}

// NewTeller looks at everything every so often.
func NewTeller(s *Server, log *slog.Logger, every time.Duration) *Teller {
	return &Teller{server: s, log: log, every: every, habits: map[string]knownHabits{}, started: make(chan struct{}), done: make(chan struct{})}
}

// changed notes that something was said or measured in the caller's co-op.
func (s *Server) changed(ctx context.Context) {
	c := &s.changes
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.coops == nil {
		c.coops = map[string]bool{}
	}
	c.coops[identity.Must(ctx).CoopID] = true
	select {
	case c.came <- struct{}{}:
	default:
	}
}

// changes are the co-ops of which something changed since they were looked at.
type changes struct {
	mu    sync.Mutex
	coops map[string]bool
	came  chan struct{} // holds one
}

func (c *changes) take() []string {
	c.mu.Lock()
	defer c.mu.Unlock()
	coops := slices.Sorted(maps.Keys(c.coops))
	c.coops = nil
	return coops
}

// gather is how long the teller lets changes come together, and rest how many
// times as long as it worked it rests: a co-op that pushes without pause must not
// keep it busy.
const (
	gather = 200 * time.Millisecond
	rest   = 4
)

// Start begins, and returns at once.
func (t *Teller) Start(ctx context.Context) error {
	ctx, t.cancel = context.WithCancel(ctx)
	go t.run(ctx)
	return nil
}

func (t *Teller) run(ctx context.Context) {
	defer close(t.done)
	tick := time.NewTicker(t.every)
	defer tick.Stop()
	close(t.started)
	for {
		coops, err := []string(nil), error(nil)
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			coops, err = t.server.coops(ctx)
		case <-t.server.changes.came:
			if !pause(ctx, gather) {
				return
			}
			coops = t.server.changes.take()
		}
		began := time.Now()
		for _, coop := range coops {
			if err == nil {
				_, err = t.Tell(ctx, coop)
			}
		}
		if err != nil && ctx.Err() == nil {
			t.log.ErrorContext(ctx, "what is used could not be told and will be tried again", "error", err)
		}
		if !pause(ctx, rest*time.Since(began)) {
			return
		}
	}
}

// pause waits, and reports whether ctx is still good.
func pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}

// Started is closed once it looks.
func (t *Teller) Started() <-chan struct{} { return t.started }

// Stop ends it.
func (t *Teller) Stop(ctx context.Context) error {
	t.cancel()
	select {
	case <-t.done:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Tell tells what differs of one co-op, and says of how many things it told. It
// is not for concurrent use.
func (t *Teller) Tell(ctx context.Context, coop string) (told int, err error) {
	s := t.server
	ctx = identity.With(ctx, identity.Identity{CoopID: coop, Role: identity.Service, Name: "harvest"})
	err = pg.InTx(ctx, s.pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		if err := store.LockTelling(ctx, tx); err != nil {
			return err
		}
		cal, err := s.calendar(ctx, tx)
		if err != nil {
			return err
		}
		habits, err := t.habitsOf(ctx, tx, coop, cal)
		if err != nil {
			return err
		}
		used, err := s.tellUsed(ctx, tx, cal, habits)
		if err != nil {
			return err
		}
		stored, err := s.tellStored(ctx, tx, cal)
		told = used + stored
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("tell what is used in co-op %s: %w", coop, err)
	}
	return told, nil
}

// habitsFor is how long habits hold: they rest on days that are over, of which
// little changes.
const habitsFor = 10 * time.Minute

func (t *Teller) habitsOf(ctx context.Context, tx pgx.Tx, coop string, cal calendar) (*outlook.Habits, error) {
	known, ok := t.habits[coop]
	if age := cal.now.Sub(known.at); ok && age >= 0 && age < habitsFor && known.habits.Today() == cal.today() {
		return known.habits, nil
	}
	habits, err := readHabits(ctx, tx, cal.today())
	if err != nil {
		return nil, err
	}
	if len(t.habits) >= mostCoops {
		clear(t.habits)
	}
	t.habits[coop] = knownHabits{habits, cal.now}
	return habits, nil
}
