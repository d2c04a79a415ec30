package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/background"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
)

// ExpandDue turns the standing orders of every co-op into orders where any are lacking, and
// returns how many orders were written. A co-op whose orders cannot be written keeps no other
// waiting.
func (s *Server) ExpandDue(ctx context.Context) (int, error) {
	coops, err := store.CoopsWithStandingOrders(ctx, s.pool)
	if err != nil {
		return 0, err
	}
	written := 0
	var failed []error
	for _, coop := range coops {
		n, err := s.expandCoop(identity.With(ctx, identity.Identity{CoopID: coop, Role: identity.Service, Name: "standing orders"}))
		written, failed = written+n, append(failed, err)
	}
	return written, errors.Join(failed...)
}

// expandCoop expands the standing orders of the caller's co-op. It looks first, so that in a
// co-op where nothing is lacking nobody waits for it.
func (s *Server) expandCoop(ctx context.Context) (written int, err error) {
	lacking := false
	if err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		plans, err := s.planStanding(ctx, tx, only(""))
		lacking = slices.ContainsFunc(plans, planned.writes)
		return err
	}); err != nil || !lacking {
		return 0, err
	}
	coop := identity.Must(ctx).CoopID
	err = pg.InTx(ctx, s.pool, coop, func(ctx context.Context, tx pgx.Tx) error {
		plans, err := s.expand(ctx, tx, "")
		written = 0
		for _, p := range plans {
			if p.writes() {
				written++
			}
		}
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("expand the standing orders of co-op %s: %w", coop, err)
	}
	return written, nil
}

// NewExpander returns a runner that turns standing orders into orders by itself, as days come
// into the horizon; it looks every so often whether orders are lacking. Several may run at once,
// in as many processes: an order is placed once.
func NewExpander(s *Server, log *slog.Logger, every time.Duration) *background.Runner {
	return background.New("expander of standing orders", background.Every(every, func(ctx context.Context) {
		switch n, err := s.ExpandDue(ctx); {
		case ctx.Err() != nil:
		case err != nil:
			log.ErrorContext(ctx, "standing orders could not be turned into orders for now", "error", err)
		case n > 0:
			log.InfoContext(ctx, "turned standing orders into orders", "orders", n)
		}
	}))
}
