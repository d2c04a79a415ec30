package server

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/background"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
)

// rebalancing is what is kept of a day between rebalances: where the solver ended with the day as
// it is, and without its pins, where it has some.
type rebalancing struct{ whole, unpinned match.Session }

func (r *rebalancing) arcs() int { return r.whole.Arcs() + r.unpinned.Arcs() }

// sessions keeps what the last rebalances ended with, by co-op and the match that they began
// from, so that the next goes on from there. What is in use is not among them. After a restart
// there is none, and a rebalance comes to the same from nothing.
type sessions struct {
	mu   sync.Mutex
	of   map[string]*rebalancing
	last []string // oldest first
	// warming has what was confirmed and is to be made ready.
	warming chan confirmed
}

// confirmed names a match that was confirmed.
type confirmed struct{ coop, match string }

func (c confirmed) key() string { return c.coop + " " + c.match }

// keptArcs is how many arcs all sessions that are kept have together, if there is more than one:
// some hundred bytes each.
const keptArcs = 1_000_000

// mostWarming is how many matches wait to be made ready; further ones are not.
const mostWarming = 16

func (s *sessions) take(key string) *rebalancing {
	s.mu.Lock()
	defer s.mu.Unlock()
	found := s.of[key]
	if found == nil {
		return &rebalancing{}
	}
	s.drop(key)
	return found
}

func (s *sessions) has(key string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.of[key] != nil
}

// put keeps a session, and lets the oldest go where there are too many.
func (s *sessions) put(key string, session *rebalancing) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.of == nil {
		s.of = make(map[string]*rebalancing)
	}
	s.drop(key)
	s.of[key], s.last = session, append(s.last, key)
	arcs := 0
	for _, kept := range s.of {
		arcs += kept.arcs()
	}
	for arcs > keptArcs && len(s.last) > 1 {
		arcs -= s.of[s.last[0]].arcs()
		s.drop(s.last[0])
	}
}

func (s *sessions) drop(key string) {
	delete(s.of, key)
	s.last = slices.DeleteFunc(s.last, func(k string) bool { return k == key })
}

// prepare asks that a confirmed match be made ready to be rebalanced; where many wait already,
// its first rebalance begins from nothing.
func (s *sessions) prepare(c confirmed) {
	select {
	case s.warming <- c:
	default:
	}
}

// NewWarmer returns a runner that makes confirmed matches ready to be rebalanced, so that the
// first rebalance of the morning starts where the match of the afternoon ended.
func NewWarmer(s *Server, log *slog.Logger) *background.Runner {
	return background.New("warmer of rebalances", func(ctx context.Context, ready func()) {
		ready()
		for {
			select {
			case <-ctx.Done():
				return
			case c := <-s.sessions.warming:
				if err := s.warm(ctx, c); err != nil && ctx.Err() == nil {
					log.WarnContext(ctx, "a confirmed match is not ready to be rebalanced; its first rebalance takes longer", "coop", c.coop, "match", c.match, "error", err)
				}
			}
		}
	})
}

// warm matches the day of a confirmed match with that match as the one before.
func (s *Server) warm(ctx context.Context, c confirmed) error {
	if s.sessions.has(c.key()) {
		return nil
	}
	ctx = identity.With(ctx, identity.Identity{CoopID: c.coop, Role: identity.Service, Name: "order"})
	var day loaded
	err := pg.InReadTx(ctx, s.pool, c.coop, func(ctx context.Context, tx pgx.Tx) error {
		before, found, err := store.MatchByID(ctx, tx, c.match)
		if err != nil || !found {
			return err
		}
		day, _, err = dayAfter(ctx, tx, before)
		return err
	})
	if err != nil {
		return fmt.Errorf("read the day of match %s: %w", c.match, err)
	}
	at := &rebalancing{}
	if _, err := s.matchOnce(ctx, at.whole.Run, day.day); err != nil {
		return fmt.Errorf("match the day of match %s: %w", c.match, err)
	}
	if len(day.day.Pins) > 0 {
		day.day.Pins = nil
		if _, err := s.matchOnce(ctx, at.unpinned.Run, day.day); err != nil {
			return fmt.Errorf("match the day of match %s without its pins: %w", c.match, err)
		}
	}
	s.sessions.put(c.key(), at)
	return nil
}

// dayAfter reads the day of a match as it is now, with the match as the one before, and what that
// gave to whom.
func dayAfter(ctx context.Context, tx pgx.Tx, before store.MatchHead) (loaded, []store.Allocation, error) {
	number, err := dayNumber("delivery_date", before.Day)
	if err != nil {
		return loaded{}, nil, err
	}
	stood, err := store.Allocations(ctx, tx, before.ID, "")
	if err != nil {
		return loaded{}, nil, err
	}
	day, err := loadDay(ctx, tx, before.Day, number)
	if err != nil {
		return loaded{}, nil, err
	}
	day.day.Kept = keptOf(stood, day.day.Sent)
	return day, stood, nil
}
