// Package server answers the RPCs of the scheduling service: it turns messages
// into the rules' values, lets the rules decide, and keeps state, event and answer
// in one transaction.
//
// Every call that changes something goes through the request log, so that the same
// request gets the first answer again. The batch calls take all or nothing and
// name the element that is wrong; a single call is a batch of one under another
// name.
package server

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/proto"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// Server answers SchedulingService.
type Server struct {
	schedulingv1.UnimplementedSchedulingServiceServer
	pool     *pgxpool.Pool
	clock    clock.Clock
	builtins map[string]*programme.Programme // by id; never changed

	planSteps int64 // most steps of a search; 0 for no limit
	forecasts forecastCache
}

// New returns a server over the pool that connects as the service's role; its
// searches end after planSteps steps at the latest, where above 0. It fails where a
// built-in programme cannot be read.
func New(pool *pgxpool.Pool, clk clock.Clock, planSteps int64) (*Server, error) {
	all, err := programme.Builtin()
	if err != nil {
		return nil, err
	}
	builtins := make(map[string]*programme.Programme, len(all))
	for _, p := range all {
		builtins[p.ID] = p
	}
	return &Server{pool: pool, clock: clk, builtins: builtins, planSteps: planSteps}, nil
}

// read runs fn in a read-only transaction of the caller's co-op.
func (s *Server) read(ctx context.Context, fn func(ctx context.Context, tx pgx.Tx) error) error {
	return pg.InReadTx(ctx, s.pool, identity.Must(ctx).CoopID, fn)
}

// change is a row's mark of a change made now by the caller.
func (s *Server) change(ctx context.Context, version int64) store.Change {
	id := identity.Must(ctx)
	by := id.Name
	if by == "" {
		by = string(id.Role)
	}
	return store.Change{Version: version, By: by, At: s.clock.Now().Truncate(time.Microsecond)}
}

// tell adds an event about a thing to the transaction.
func tell(ctx context.Context, tx pgx.Tx, thing, what, aggregate string, payload proto.Message) error {
	return outbox.Add(ctx, tx, outbox.Event{Thing: thing, What: what, Aggregate: aggregate, Payload: payload})
}
