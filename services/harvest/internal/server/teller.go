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
	"breakshare.example/services/platform/background"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
)

// Teller tells what follows from what was said and measured: which figure is
// used of each expected pick, and how each lot in a store keeps. It does so a
// moment after a change, since working it out takes longer than a push may; what
// changes without anybody's doing (a day passes, a stage is reached, another
// process takes a push) it finds when it looks at everything, every so often.
//
// While much changes it tells again only of what differs enough to matter. Several
// may run at once, in as many processes.
type Teller struct {
	*background.Runner
	server *Server
	log    *slog.Logger
	every  time.Duration
	habits map[string]knownHabits // by co-op
}

type knownHabits struct {
	habits *outlook.Habits
	at     time.Time
}

// NewTeller looks at everything every so often.
func NewTeller(s *Server, log *slog.Logger, every time.Duration) *Teller {
	t := &Teller{server: s, log: log, every: every, habits: map[string]knownHabits{}}
	t.Runner = background.New("teller of what is used", t.run)
	return t
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
// keep it busy. When nothing has changed for as long as quiet, it tells of small
// differences too, so that in the end what was told follows from what is known
// and not from the order in which it came.
const (
	gather = 200 * time.Millisecond
	rest   = 4
	quiet  = time.Second
)

func (t *Teller) run(ctx context.Context, ready func()) {
	tick := time.NewTicker(t.every)
	defer tick.Stop()
	calm := time.NewTimer(quiet)
	defer calm.Stop()
	rough := map[string]bool{} // co-ops that were not told of exactly
	ready()
	for {
		how, coops, err := exactly, []string(nil), error(nil)
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			coops, err = t.server.coops(ctx)
		case <-calm.C:
			coops = slices.Sorted(maps.Keys(rough))
		case <-t.server.changes.came:
			if !background.Pause(ctx, gather) {
				return
			}
			how, coops = roughly, t.server.changes.take()
			calm.Reset(quiet)
		}
		began := time.Now()
		for _, coop := range coops {
			if err != nil {
				break
			}
			if _, err = t.Tell(ctx, coop, how); how == exactly && err == nil {
				delete(rough, coop)
			} else {
				rough[coop] = true
			}
		}
		if err != nil && ctx.Err() == nil {
			t.log.ErrorContext(ctx, "what is used could not be told and will be tried again", "error", err)
		}
		if !background.Pause(ctx, rest*time.Since(began)) {
			return
		}
	}
}

// exactness is how small a difference is told of.
type exactness bool

const (
	exactly exactness = true  // any
	roughly exactness = false // what matters
)

// Tell tells what differs of one co-op, and says of how many things it told. It
// is not for concurrent use.
func (t *Teller) Tell(ctx context.Context, coop string, how exactness) (told int, err error) {
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
		used, err := s.tellUsed(ctx, tx, cal, habits, how)
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
