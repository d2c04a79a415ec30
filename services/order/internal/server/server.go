// Package server answers the RPCs of the order service: it turns messages into the rules'
// values, lets the rules decide, and keeps state, event and answer in one transaction.
//
// Every call that changes something goes through the request log, so that the same request gets
// the first answer again. The batch calls take all or nothing and name the element that is
// wrong; a single call is a batch of one under another name.
package server

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
)

// Options are what a Server works with; all are needed.
type Options struct {
	// Pool connects as the service's role.
	Pool  *pgxpool.Pool
	Clock clock.Clock
	// Harvest is the connection to the service that knows where pick lots come from.
	Harvest grpc.ClientConnInterface
	// SolveWithin is the longest that a match may be solved.
	SolveWithin time.Duration
}

// Server answers OrderService.
type Server struct {
	orderv1.UnimplementedOrderServiceServer
	pool        *pgxpool.Pool
	clock       clock.Clock
	harvest     harvestv1.HarvestServiceClient
	solveWithin time.Duration
	sessions    sessions
}

// New returns a server.
func New(o Options) *Server {
	return &Server{
		pool: o.Pool, clock: o.Clock, harvest: harvestv1.NewHarvestServiceClient(o.Harvest), solveWithin: o.SolveWithin,
		sessions: sessions{warming: make(chan confirmed, mostWarming)},
	}
}

// read runs fn in a read-only transaction of the caller's co-op.
func (s *Server) read(ctx context.Context, fn func(ctx context.Context, tx pgx.Tx) error) error {
	return pg.InReadTx(ctx, s.pool, identity.Must(ctx).CoopID, fn)
}

// now is the present instant as the database keeps it.
func (s *Server) now() time.Time { return s.clock.Now().Truncate(time.Microsecond) }

// change is a row's mark of a change made now by the caller.
func (s *Server) change(ctx context.Context, version int64) store.Change {
	return store.Change{Version: version, By: who(ctx), At: s.now()}
}

// who names the caller: the person, or where none is named the role.
func who(ctx context.Context) string {
	id := identity.Must(ctx)
	if id.Name == "" {
		return string(id.Role)
	}
	return id.Name
}

// tell adds an event about a thing to the transaction.
func tell(ctx context.Context, tx pgx.Tx, thing, what, aggregate string, payload proto.Message) error {
	return outbox.Add(ctx, tx, outbox.Event{Thing: thing, What: what, Aggregate: aggregate, Payload: payload})
}

// instant turns a time that may be absent into one that may be.
func instant(t *time.Time) *timestamppb.Timestamp {
	if t == nil {
		return nil
	}
	return timestamppb.New(*t)
}
