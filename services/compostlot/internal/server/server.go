// Package server owns the RPCs of the compostlot service: it turns messages into
// the values of the rules, runs the rules inside one transaction with the store
// and the outbox, and turns answers and errors back into messages.
//
// Every call that changes something goes through the request log, so that it can
// be sent again. A batch takes all of its elements or none, and an error names
// the element: "slots[3].ready_date". A single call is a batch of one, whose
// errors name "slot.ready_date" or, where the request is flat, "released_by".
package server

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/members"
	"breakshare.example/services/platform/clock"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/outbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/requestlog"
)

// Options is what a server needs.
type Options struct {
	Pool  *pgxpool.Pool
	Clock clock.Clock
	// Members knows farms, rooms and crops.
	Members *members.Directory
	// MaxReadings is the most readings of one stream.
	MaxReadings int
}

// Server answers CompostLotService.
type Server struct {
	compostlotv1.UnimplementedCompostLotServiceServer
	o Options
}

// New returns a server. All options must be set.
func New(o Options) *Server { return &Server{o: o} }

// now is the present instant as the database keeps it.
func (s *Server) now() time.Time { return s.o.Clock.Now().Truncate(time.Microsecond) }

// request is a message that can be sent again.
type request interface {
	proto.Message
	GetRequestId() string
}

// once runs fn at most once for the request, in one transaction with its answer.
func once[R proto.Message](ctx context.Context, s *Server, req request, fresh R, fn func(ctx context.Context, tx pgx.Tx) (R, error)) (R, error) {
	answer, err := requestlog.Once(ctx, s.o.Pool, req.GetRequestId(), req, fresh, fn)
	return answer, wording(err)
}

// read runs fn in a transaction that sees one state of the co-op and changes nothing.
func (s *Server) read(ctx context.Context, fn func(ctx context.Context, tx pgx.Tx) error) error {
	return wording(pg.InReadTx(ctx, s.o.Pool, identity.Must(ctx).CoopID, fn))
}

// tell writes an event about a thing with an id.
func tell(ctx context.Context, tx pgx.Tx, thing, what, id string, payload proto.Message) error {
	return outbox.Add(ctx, tx, outbox.Event{Thing: thing, What: what, Aggregate: id, Payload: payload})
}

// actor is the name under which the caller's changes are kept.
func actor(ctx context.Context) string {
	id := identity.Must(ctx)
	if id.Name != "" {
		return id.Name
	}
	return string(id.Role)
}
