// Package server owns harvest's RPCs: it reads requests, judges them against
// what harvest knows, lets the store write, and words the answers. One file per
// group of RPCs.
package server

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
)

// Server answers HarvestService.
type Server struct {
	harvestv1.UnimplementedHarvestServiceServer
	pool    *pgxpool.Pool
	clock   clock.Clock
	owners  Owners
	rules   Rules
	asked   limitsAsked
	pushes  pushes
	learnt  learnt
	known   knowledge
	changes changes
}

// New returns a server over the pool that connects as harvest's role.
func New(pool *pgxpool.Pool, clk clock.Clock, owners Owners, rules Rules) *Server {
	return &Server{pool: pool, clock: clk, owners: owners, rules: rules, changes: changes{came: make(chan struct{}, 1)}}
}

// read runs fn in a transaction that only reads, as one moment saw it.
func (s *Server) read(ctx context.Context, fn func(ctx context.Context, tx pgx.Tx) error) error {
	return pg.InReadTx(ctx, s.pool, identity.Must(ctx).CoopID, fn)
}

// maxSpanDays is the longest span that one call lists.
const maxSpanDays = 92

// span reads the two days of a listing.
func span(fromText, toText string) (from, to day.Date, err error) {
	if from, err = day.Parse(fromText); err != nil {
		return 0, 0, fault.InvalidField("from_date", "%v", err)
	}
	if to, err = day.Parse(toText); err != nil {
		return 0, 0, fault.InvalidField("to_date", "%v", err)
	}
	switch days := to.Sub(from); {
	case days < 0:
		return 0, 0, fault.InvalidField("to_date", "%s lies before from_date %s: give the later day here", to, from)
	case days > maxSpanDays:
		return 0, 0, fault.InvalidField("to_date", "%s lies %d days after from_date %s: ask for %d days or fewer at once", to, days, from, maxSpanDays)
	}
	return from, to, nil
}
