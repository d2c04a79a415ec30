package server

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/proposal"
	"breakshare.example/services/scheduling/internal/store"
)

// AcceptFills plans the crops of a proposal and calls off those it leaves out, all
// or nothing.
func (s *Server) AcceptFills(ctx context.Context, req *schedulingv1.AcceptFillsRequest) (*schedulingv1.AcceptFillsResponse, error) {
	if len(req.GetFills())+len(req.GetCallOffs()) == 0 {
		return nil, fault.InvalidField("fills", "is empty; give the fills to plan, or the crops to call off")
	}
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.AcceptFillsResponse{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.AcceptFillsResponse, error) {
		off, err := s.callOff(ctx, tx, req.GetCallOffs())
		if err != nil {
			return nil, err
		}
		answer := &schedulingv1.AcceptFillsResponse{CalledOff: off}
		if len(req.GetFills()) == 0 {
			return answer, nil
		}
		crops, err := s.planCrops(ctx, tx, req.GetFills(), element("fills"))
		if err != nil {
			return nil, err
		}
		answer.Crops = each(crops, grown.lean)
		return answer, s.yardsCan(ctx, tx, crops, element("fills"))
	})
}

// callOff ends planned crops before they are filled.
func (s *Server) callOff(ctx context.Context, tx pgx.Tx, offs []*schedulingv1.CallOff) ([]*schedulingv1.Crop, error) {
	if len(offs) == 0 {
		return nil, nil
	}
	if err := onceEach(offs, (*schedulingv1.CallOff).GetCropId, element("call_offs"), "crop_id"); err != nil {
		return nil, err
	}
	crops, err := s.openCrops(ctx, tx, each(offs, (*schedulingv1.CallOff).GetCropId), func(i int) string { return fmt.Sprintf("call_offs[%d].crop_id", i) })
	if err != nil {
		return nil, err
	}
	today, err := s.today(ctx, tx)
	if err != nil {
		return nil, err
	}
	var out []*schedulingv1.Crop
	for i, o := range offs {
		c, path := crops[o.GetCropId()], fmt.Sprintf("call_offs[%d].crop_id", i)
		if err := c.readAt(o.GetEtag()); err != nil {
			return nil, err
		}
		if c.State != store.Planned || slices.ContainsFunc(c.Stages, func(st store.Stage) bool { return st.Actual != nil }) {
			return nil, fault.New(fault.Precondition, "CROP_HAS_BEGUN", "%s: crop %q has begun or ended; only what is planned can be called off", path, c.ID).
				WithField(path, "has begun or ended").WithMeta("cropId", c.ID)
		}
		if err := s.end(ctx, c, today, nil); err != nil {
			return nil, err
		}
		if err := s.keep(ctx, tx, c); err != nil {
			return nil, err
		}
		if err := tell(ctx, tx, "crop", "ended", c.ID, &schedulingv1.CropEnded{Crop: cropMessage(c.Crop, c.programme)}); err != nil {
			return nil, err
		}
		out = append(out, c.lean())
	}
	return out, nil
}

// yardsCan refuses fills for which the published slots of their phase have not
// the compost in their week, together with all else that is planned there.
func (s *Server) yardsCan(ctx context.Context, tx pgx.Tx, fills []grown, at pathOf) error {
	today, err := s.today(ctx, tx)
	if err != nil {
		return err
	}
	if err := store.LockSlots(ctx, tx, today.Week()); err != nil {
		return err
	}
	slots, err := store.OpenSlots(ctx, tx, today.Week())
	if err != nil {
		return err
	}
	crops, err := store.ListStandingCrops(ctx, tx, "", today)
	if err != nil {
		return err
	}
	c := &proposal.Case{First: today.Week()}
	if c.Crops, err = dated(ctx, tx, crops, nil); err != nil {
		return err
	}
	c.Slots = each(slots, func(s store.Slot) proposal.Slot {
		return proposal.Slot{YardID: s.YardID, Ready: s.Ready, Phase: int(s.Phase), CapacityKg: s.CapacityKg}
	})
	for _, over := range proposal.OverPublished(c) {
		monday := c.First.Add(7 * over.Week)
		i := slices.IndexFunc(fills, func(g grown) bool {
			return g.Fill.Week() == monday && g.programme.System.CompostPhase() == over.Phase
		})
		if i < 0 {
			continue // not this plan's doing
		}
		return tonnesFault(over, monday, strings.TrimPrefix(at(i)+".fill_date", "."))
	}
	return nil
}

func tonnesFault(over proposal.PhaseWeek, monday calendar.Date, path string) error {
	return fault.New(fault.Precondition, "OVER_THE_YARDS_TONNES", "%s: in the week of %s the planned fills need %d kg of phase %d compost, but the published slots give %d kg; move a fill to another week or leave one out", path, monday, over.NeedKg, over.Phase, over.CapacityKg).
		WithField(path, "needs more compost than the slots of the week give").
		WithMeta("week", monday.String()).WithMeta("needKg", fmt.Sprint(over.NeedKg)).WithMeta("capacityKg", fmt.Sprint(over.CapacityKg))
}
