package eventlog

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/pg"
)

// Watch has the server tell of a consumer's place and retry its dead letters.
func (s *Server) Watch(c *inbox.Consumer) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.consumers == nil {
		s.consumers = map[string]*inbox.Consumer{}
	}
	s.consumers[c.Source()] = c
}

func (s *Server) consumer(source string) *inbox.Consumer {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.consumers[source]
}

// sources are the services whose events are taken in, by name.
func (s *Server) sources() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var all []string
	for source := range s.consumers {
		all = append(all, source)
	}
	slices.Sort(all)
	return all
}

// operator returns the caller, who must be an operator: fault.Unauthenticated
// and fault.Forbidden otherwise.
func operator(ctx context.Context) (identity.Identity, error) {
	id, ok := identity.From(ctx)
	if !ok {
		return id, fault.New(fault.Unauthenticated, "NO_IDENTITY", "the call carries no identity; send a token")
	}
	if id.Role != identity.Operator {
		return id, fault.New(fault.Forbidden, "ROLE_MAY_NOT", "only the operator may see and mend the service's state, not a %s", id.Role)
	}
	return id, nil
}

// GetStanding returns how far the service has got with the caller's co-op.
func (s *Server) GetStanding(ctx context.Context, _ *eventlogv1.GetStandingRequest) (*eventlogv1.GetStandingResponse, error) {
	id, err := operator(ctx)
	if err != nil {
		return nil, err
	}
	res := &eventlogv1.GetStandingResponse{}
	err = pg.InReadTx(ctx, s.pool, id.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		var oldest *time.Time
		err := tx.QueryRow(ctx, `
SELECT (SELECT coalesce(max(sequence), 0) FROM outbox WHERE coop_id = $1), count(*), min(time)
FROM outbox WHERE coop_id = $1 AND published_at IS NULL`, id.CoopID).Scan(&res.LastSequence, &res.Unpublished, &oldest)
		if err != nil {
			return err
		}
		if oldest != nil {
			res.OldestUnpublished = timestamppb.New(*oldest)
		}
		res.Readings, err = s.readings(ctx, tx, id.CoopID)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read how far the service has got: %w", err)
	}
	return res, nil
}

// readings are of every source that is watched, heard of or not.
func (s *Server) readings(ctx context.Context, tx pgx.Tx, coopID string) ([]*eventlogv1.Reading, error) {
	rows, err := tx.Query(ctx, `
SELECT w.source, coalesce(c.last_sequence, 0), (SELECT count(*) FROM inbox i WHERE i.coop_id = $1 AND i.outcome = 'dead' AND i.source = w.source)
FROM unnest($2::text[]) AS w (source) LEFT JOIN event_cursor c ON c.coop_id = $1 AND c.source = w.source
ORDER BY w.source`, coopID, s.sources())
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (*eventlogv1.Reading, error) {
		r := &eventlogv1.Reading{}
		return r, row.Scan(&r.Source, &r.LastSequence, &r.DeadLetters)
	})
}
