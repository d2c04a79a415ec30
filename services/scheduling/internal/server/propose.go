package server

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/scheduling/internal/fillplan"
	"breakshare.example/services/scheduling/internal/proposal"
)

const (
	planWeeks   = 26
	planSeconds = 5
	// betweenProposals is the least time between two proposals of a stream: a
	// person cannot read faster, and the first ones come by the dozen.
	betweenProposals = 250 * time.Millisecond
)

// ProposeFills plans and streams better proposals as they are found.
func (s *Server) ProposeFills(req *schedulingv1.ProposeFillsRequest, stream grpc.ServerStreamingServer[schedulingv1.Proposal]) error {
	ctx := stream.Context()
	at, err := s.planFrom(ctx, req.GetFirstWeek(), req.GetWeeks(), req.GetReplan())
	if err != nil {
		return err
	}
	if at.Wishes.Keep, err = choices(req.GetPins(), "pins"); err != nil {
		return err
	}
	if at.Wishes.Forbid, err = choices(req.GetForbids(), "forbids"); err != nil {
		return err
	}
	problem, err := proposal.Build(&at.Case)
	if err != nil {
		return planFault(err)
	}
	r := reader{at: at, problem: problem, begun: time.Now()}
	var last time.Time
	result, err := s.search(ctx, problem, seconds(req.GetSeconds()), func(plan fillplan.Plan, bound int64) error {
		if !last.IsZero() && time.Since(last) < betweenProposals {
			return nil
		}
		last = time.Now()
		message, err := r.message(plan, bound)
		if err != nil {
			return err
		}
		return stream.Send(message)
	})
	if err != nil {
		return err
	}
	final, err := r.final(result)
	if err != nil {
		return err
	}
	return stream.Send(final)
}

func seconds(asked int32) time.Duration {
	if asked == 0 {
		return planSeconds * time.Second
	}
	return time.Duration(asked) * time.Second
}

// planFrom reads what a plan starts from.
func (s *Server) planFrom(ctx context.Context, firstWeek string, weeks int32, replan bool) (*situation, error) {
	var at *situation
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		span, err := s.span(ctx, tx, firstWeek, weeks, planWeeks, 1)
		if err != nil {
			return err
		}
		if span.first < span.current {
			return fault.InvalidField("first_week", "%s is over; rooms can be filled from the week of %s on", span.first, span.current)
		}
		at, err = s.situation(ctx, tx, span)
		return err
	})
	if err != nil {
		return nil, err
	}
	at.Wishes.Replan = replan
	return at, nil
}

func choices(in []*schedulingv1.FillChoice, name string) ([]proposal.Choice, error) {
	out := make([]proposal.Choice, len(in))
	for i, c := range in {
		week, err := mondayFrom(c.GetWeek(), fmt.Sprintf("%s[%d].week", name, i))
		if err != nil {
			return nil, err
		}
		out[i] = proposal.Choice{RoomID: c.GetRoomId(), ProgrammeID: c.GetProgrammeId(), Week: week}
	}
	return out, nil
}

// planFault words what the planner refuses.
func planFault(err error) error {
	var choice *proposal.ChoiceError
	var wish *fillplan.WishError
	var plan *fillplan.PlanError
	var instance *fillplan.InstanceError
	switch {
	case errors.As(err, &choice):
		name := "forbids"
		if choice.Kept {
			name = "pins"
		}
		return fault.InvalidField(fmt.Sprintf("%s[%d].%s", name, choice.Index, choice.Field), "%s", choice)
	case errors.As(err, &wish):
		return fault.New(fault.Precondition, "PINS_DO_NOT_FIT", "pins: %s", wish.Reason).WithField("pins", "%s", wish.Reason).WithCause(err)
	case errors.As(err, &plan):
		return fault.New(fault.Precondition, "PINS_DO_NOT_FIT", "the pinned fills cannot all be: %s", plan).WithField("pins", "%s", plan).WithCause(err)
	case errors.As(err, &instance):
		return fault.New(fault.Precondition, "NO_PLAN_POSSIBLE", "there is nothing to plan with: %s", instance).WithCause(err)
	}
	return err
}
