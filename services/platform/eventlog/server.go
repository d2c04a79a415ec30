// Package eventlog owns the RPC by which a service shows the events it has
// published, and the client side by which a consumer fills a gap. The outbox
// is the record; this is the window onto it.
package eventlog

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/protobuf/types/known/timestamppb"

	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/pg"
)

const (
	defaultLimit = 100
	maxLimit     = 500
	// maxPage bounds the payloads of one answer in bytes, well under the 4 MiB
	// that a gRPC client takes by default.
	maxPage = 1 << 20
)

// Server answers EventLogService from a service's outbox.
type Server struct {
	eventlogv1.UnimplementedEventLogServiceServer
	pool *pgxpool.Pool

	mu        sync.Mutex
	consumers map[string]*inbox.Consumer // by source
}

// NewServer returns a server over the pool that connects as the service's role.
func NewServer(pool *pgxpool.Pool) *Server { return &Server{pool: pool} }

// Policy says who may call: other services and the operator, and the operator
// alone what is about the service's own state. It can be given to the RPC
// server as it is.
func Policy() map[string][]identity.Role {
	return map[string][]identity.Role{
		eventlogv1.EventLogService_ListEvents_FullMethodName:      {identity.Service, identity.Operator},
		eventlogv1.EventLogService_GetStanding_FullMethodName:     {identity.Operator},
		eventlogv1.EventLogService_ListDeadLetters_FullMethodName: {identity.Operator},
		eventlogv1.EventLogService_RetryDeadLetter_FullMethodName: {identity.Operator},
	}
}

// ListEvents returns one page of the caller's co-op's events. Row-level
// security keeps other co-ops' out. It fails with fault.Unauthenticated
// without an identity, fault.Forbidden for a role other than service and
// operator, and fault.Invalid for a negative sequence or limit.
func (s *Server) ListEvents(ctx context.Context, req *eventlogv1.ListEventsRequest) (*eventlogv1.ListEventsResponse, error) {
	id, ok := identity.From(ctx)
	if !ok {
		return nil, fault.New(fault.Unauthenticated, "NO_IDENTITY", "the call carries no identity; send a token")
	}
	if id.Role != identity.Service && id.Role != identity.Operator {
		return nil, fault.New(fault.Forbidden, "ROLE_MAY_NOT", "only services and the operator may read the event log, not a %s", id.Role)
	}
	if req.GetAfterSequence() < 0 {
		return nil, fault.InvalidField("after_sequence", "is %d; give the last sequence you have, or 0", req.GetAfterSequence())
	}
	if req.GetLimit() < 0 {
		return nil, fault.InvalidField("limit", "is %d; give 1 to %d, or 0 for %d", req.GetLimit(), maxLimit, defaultLimit)
	}
	limit := int(req.GetLimit())
	if limit == 0 {
		limit = defaultLimit
	}
	var events []*eventlogv1.Event
	err := pg.InReadTx(ctx, s.pool, id.CoopID, func(ctx context.Context, tx pgx.Tx) (err error) {
		events, err = list(ctx, tx, id.CoopID, req.GetAfterSequence(), min(limit, maxLimit))
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("list events: %w", err)
	}
	return &eventlogv1.ListEventsResponse{Events: events}, nil
}

// list reads one page, cut where its payloads would pass maxPage; a first
// event larger than that still goes out alone.
func list(ctx context.Context, tx pgx.Tx, coopID string, after int64, limit int) ([]*eventlogv1.Event, error) {
	rows, err := tx.Query(ctx, `
SELECT id::text, sequence, type, thing, what, aggregate, time, payload, coalesce(traceparent, '')
FROM (
	SELECT *, sum(octet_length(payload)) OVER (ORDER BY sequence) AS bytes, min(sequence) OVER () AS first
	FROM (
		SELECT id, sequence, type, thing, what, aggregate, time, payload, traceparent
		FROM outbox WHERE coop_id = $1 AND sequence > $2
		ORDER BY sequence LIMIT $3
	) AS page
) AS measured
WHERE bytes <= $4 OR sequence = first
ORDER BY sequence`, coopID, after, limit, maxPage)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (*eventlogv1.Event, error) {
		e := &eventlogv1.Event{}
		var at time.Time
		if err := row.Scan(&e.Id, &e.Sequence, &e.Type, &e.Thing, &e.What, &e.Aggregate, &at, &e.Payload, &e.Traceparent); err != nil {
			return nil, err
		}
		e.Time = timestamppb.New(at)
		return e, nil
	})
}
