package server

import (
	"context"
	"fmt"
	"slices"
	"time"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/scheduling/internal/fillplan"
	"breakshare.example/services/scheduling/internal/proposal"
)

// WhatIf plans twice and sets the plans side by side.
func (s *Server) WhatIf(ctx context.Context, req *schedulingv1.WhatIfRequest) (*schedulingv1.WhatIfResponse, error) {
	at, err := s.planFrom(ctx, req.GetFirstWeek(), req.GetWeeks(), req.GetReplan())
	if err != nil {
		return nil, err
	}
	base, err := proposal.Build(&at.Case)
	if err != nil {
		return nil, planFault(err)
	}
	changed := base
	for i, c := range req.GetChanges() {
		if changed, err = change(at, changed, c, fmt.Sprintf("changes[%d]", i)); err != nil {
			return nil, err
		}
	}
	limit := half(ctx, seconds(req.GetSeconds()))
	before, planA, err := s.solved(ctx, at, base, limit)
	if err != nil {
		return nil, err
	}
	after, planB, err := s.solved(ctx, at, changed, limit)
	if err != nil {
		return nil, err
	}
	difference, err := fillplan.Compare(base.Instance, planA, changed.Instance, planB)
	if err != nil {
		return nil, err
	}
	return &schedulingv1.WhatIfResponse{Base: before, Changed: after, Difference: differenceMessage(at, difference)}, nil
}

// half is the time for each of two searches: what was asked for, or half of what
// the call's deadline leaves less a part for reading the plans.
func half(ctx context.Context, asked time.Duration) time.Duration {
	due, ok := ctx.Deadline()
	if !ok {
		return asked
	}
	return min(asked, max(0, time.Until(due)*2/5))
}

// solved searches the best plan of a problem for a time.
func (s *Server) solved(ctx context.Context, at *situation, problem *proposal.Problem, limit time.Duration) (*schedulingv1.Proposal, fillplan.Plan, error) {
	r := reader{at: at, problem: problem, begun: time.Now()}
	result, err := s.search(ctx, problem, limit, nil)
	if err != nil {
		return nil, fillplan.Plan{}, err
	}
	message, err := r.final(result)
	return message, result.Plan, err
}

// change applies one "what if" to a problem.
func change(at *situation, p *proposal.Problem, c *schedulingv1.Change, path string) (*proposal.Problem, error) {
	switch what := c.GetChange().(type) {
	case *schedulingv1.Change_YardDown:
		return yardDown(at, p, what.YardDown, path+".yard_down")
	case *schedulingv1.Change_RoomLost:
		i := slices.IndexFunc(at.Rooms, func(r proposal.Room) bool { return r.ID == what.RoomLost })
		if i < 0 {
			return nil, unknown("ROOM", what.RoomLost, path+".room_lost", "list the rooms for those there are")
		}
		return p.RoomLost(i)
	}
	out, err := p.Demand(int64(c.GetDemandPercent()))
	if err != nil {
		return nil, planFault(err)
	}
	return out, nil
}

// yardDown takes a yard's compost out of some weeks.
func yardDown(at *situation, p *proposal.Problem, down *schedulingv1.YardDown, path string) (*proposal.Problem, error) {
	monday, err := mondayFrom(down.GetFromWeek(), path+".from_week")
	if err != nil {
		return nil, err
	}
	if yard := down.GetYardId(); yard != "" && !slices.ContainsFunc(at.Slots, func(s proposal.Slot) bool { return s.YardID == yard }) {
		return nil, unknown("YARD", yard, path+".yard_id", "only yards with published slots are reckoned with")
	}
	first := monday.Sub(at.First) / 7
	from, until := max(0, first), min(at.Weeks, first+int(down.GetWeeks()))
	if from >= until {
		return nil, fault.InvalidField(path+".from_week", "the weeks from %s on lie outside those planned, %s to %s", monday, at.First, at.span.end())
	}
	return p.YardDown(down.GetYardId(), from, until)
}

func differenceMessage(at *situation, c fillplan.Comparison) *schedulingv1.PlanChange {
	out := &schedulingv1.PlanChange{CostMinor: minor(c.ChangeM()), CompostKg: c.CompostKg}
	for _, p := range c.Products {
		out.Kinds = append(out.Kinds, &schedulingv1.KindChange{
			Kind: kindMessage(at.Kinds[p.Product].Product), DemandGrams: p.Demand, SupplyGrams: p.Supply, ShortGrams: p.Short, OverGrams: p.Over,
		})
	}
	for _, r := range c.Rooms {
		out.Rooms = append(out.Rooms, &schedulingv1.RoomChange{
			RoomId: at.Rooms[r.Room].ID, OnlyBase: choiceMessages(at, r.OnlyA), OnlyChanged: choiceMessages(at, r.OnlyB),
		})
	}
	return out
}

func choiceMessages(at *situation, fills []fillplan.Fill) []*schedulingv1.FillChoice {
	return each(fills, func(f fillplan.Fill) *schedulingv1.FillChoice {
		return &schedulingv1.FillChoice{
			RoomId: at.Rooms[f.Room].ID, ProgrammeId: at.Programmes[f.Programme].ID, Week: at.First.Add(7 * f.Week).String(),
		}
	})
}
