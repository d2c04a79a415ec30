package eventlog

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	eventlogv1 "breakshare.example/proto/gen/breakshare/eventlog/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/inbox"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/requestlog"
)

const (
	defaultLetters = 50
	maxLetters     = 200
)

// ListDeadLetters returns the newest dead letters of the caller's co-op. It
// fails with fault.Invalid for a negative limit.
func (s *Server) ListDeadLetters(ctx context.Context, req *eventlogv1.ListDeadLettersRequest) (*eventlogv1.ListDeadLettersResponse, error) {
	id, err := operator(ctx)
	if err != nil {
		return nil, err
	}
	limit := min(int(req.GetLimit()), maxLetters)
	switch {
	case limit < 0:
		return nil, fault.InvalidField("limit", "is %d; give 1 to %d, or 0 for %d", limit, maxLetters, defaultLetters)
	case limit == 0:
		limit = defaultLetters
	}
	res := &eventlogv1.ListDeadLettersResponse{}
	err = pg.InReadTx(ctx, s.pool, id.CoopID, func(ctx context.Context, tx pgx.Tx) error {
		letters, err := inbox.ListDead(ctx, tx, id.CoopID, limit)
		for _, l := range letters {
			res.DeadLetters = append(res.DeadLetters, &eventlogv1.DeadLetter{
				EventId: l.EventID, Source: l.Source, Sequence: l.Sequence, Type: l.Type, Reason: l.Reason, BuriedAt: timestamppb.New(l.BuriedAt),
			})
		}
		return err
	})
	return res, err
}

// RetryDeadLetter takes in one dead letter after all.
func (s *Server) RetryDeadLetter(ctx context.Context, req *eventlogv1.RetryDeadLetterRequest) (*eventlogv1.RetryDeadLetterResponse, error) {
	id, err := operator(ctx)
	if err != nil {
		return nil, err
	}
	var place inbox.Place
	err = pg.InReadTx(ctx, s.pool, id.CoopID, func(ctx context.Context, tx pgx.Tx) (err error) {
		place, err = inbox.Find(ctx, tx, id.CoopID, req.GetEventId())
		return err
	})
	if errors.Is(err, inbox.ErrNoDeadLetter) {
		return nil, fault.New(fault.NotFound, "NO_DEAD_LETTER", "there is no dead letter %q in this co-op", req.GetEventId())
	}
	if err != nil {
		return nil, err
	}
	consumer := s.consumer(place.Source)
	if consumer == nil {
		return nil, fault.New(fault.Precondition, "NOT_READ", "this service does not read the events of %s any more", place.Source)
	}
	m := inbox.Message{ID: req.GetEventId(), CoopID: id.CoopID, Source: place.Source, Sequence: place.Sequence}
	if place.Dead {
		if m, err = consumer.Recall(ctx, id.CoopID, m.ID, m.Sequence); err != nil {
			return nil, notRecalled(err, place)
		}
	}
	return s.revive(ctx, req, consumer, m)
}

func notRecalled(err error, place inbox.Place) error {
	if errors.Is(err, inbox.ErrNoDeadLetter) {
		return fault.New(fault.Precondition, "OWNER_LOST_IT", "%s does not have this event any more; was its database put back?", place.Source)
	}
	return fault.New(fault.Unavailable, "OWNER_DOWN", "%s cannot be asked for the event; try again", place.Source).WithCause(err)
}

// revive has the consumer apply the event. What fails is noted as the letter's
// new reason, in a transaction of its own.
func (s *Server) revive(ctx context.Context, req *eventlogv1.RetryDeadLetterRequest, consumer *inbox.Consumer, m inbox.Message) (*eventlogv1.RetryDeadLetterResponse, error) {
	var failed error
	res, err := requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &eventlogv1.RetryDeadLetterResponse{}, func(ctx context.Context, tx pgx.Tx) (*eventlogv1.RetryDeadLetterResponse, error) {
		var applied bool
		if applied, failed = consumer.Revive(ctx, tx, m); failed != nil {
			return nil, failed
		}
		return &eventlogv1.RetryDeadLetterResponse{EventId: m.ID, Applied: applied}, nil
	})
	if err == nil || failed == nil {
		return res, err
	}
	var reason string
	var down bool
	err = pg.InTx(ctx, s.pool, m.CoopID, func(ctx context.Context, tx pgx.Tx) (err error) {
		reason, down, err = consumer.StillDead(ctx, tx, m, failed)
		return err
	})
	switch {
	case err != nil:
		return nil, fmt.Errorf("retry event %s: %w", m.ID, errors.Join(failed, err))
	case down:
		return nil, fault.New(fault.Unavailable, "NOT_NOW", "what the event needs is down; try again: %s", reason)
	}
	return nil, fault.New(fault.Precondition, "FAILED_AGAIN", "the event fails again: %s", reason)
}
