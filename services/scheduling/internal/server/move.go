package server

import (
	"context"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/store"
)

// MoveCrop plans a crop that has not begun for another fill date.
func (s *Server) MoveCrop(ctx context.Context, req *schedulingv1.MoveCropRequest) (*schedulingv1.Crop, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.Crop{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.Crop, error) {
		day, err := dateFrom(req.GetFillDate(), "fill_date")
		if err != nil {
			return nil, err
		}
		crops, err := s.openCrops(ctx, tx, []string{req.GetCropId()}, single("crop_id"))
		if err != nil {
			return nil, err
		}
		c := crops[req.GetCropId()]
		if err := c.readAt(req.GetEtag()); err != nil {
			return nil, err
		}
		if c.State == store.Ended {
			return nil, endedFault(c, "crop_id")
		}
		if err := s.move(ctx, tx, c, day); err != nil {
			return nil, err
		}
		if !req.GetBeyondSlots() {
			if err := s.yardsCan(ctx, tx, []grown{c.grown}, single("")); err != nil {
				return nil, err
			}
		}
		return cropMessage(c.Crop, c.programme), nil
	})
}

// move plans the crop for another day, unless a neighbour is in its way.
func (s *Server) move(ctx context.Context, tx pgx.Tx, c *open, day calendar.Date) error {
	rules, err := workingRules(ctx, tx)
	if err != nil {
		return err
	}
	moved, dates, err := calendar.Move(rulesCrop(c.Crop, c.programme), day.Sub(c.Fill), rules)
	if err != nil {
		return dateFault(err, "fill_date")
	}
	facilities := each(c.Facilities, func(f store.CropFacility) string { return f.ID })
	near, err := neighbours(ctx, tx, []string{c.RoomID}, facilities, min(c.Fill, day).Add(-lookBack))
	if err != nil {
		return err
	}
	programmes, err := programmesOf(ctx, tx, near)
	if err != nil {
		return err
	}
	var others standing
	if err := others.stand(near, programmes, rules); err != nil {
		return err
	}
	if clash, ok := others.clash(moved, dates, rules); ok {
		return takenFault(clash, "fill_date")
	}
	c.PlannedFill, c.NotBefore = moved.Fill, nil
	_, err = s.shift(ctx, tx, c, rules)
	return err
}

// ShiftOverdue moves every crop whose next step is overdue.
func (s *Server) ShiftOverdue(ctx context.Context, req *schedulingv1.ShiftOverdueRequest) (*schedulingv1.ShiftOverdueResponse, error) {
	farmID, err := visibleFarm(identity.Must(ctx), req.GetFarmId())
	if err != nil {
		return nil, err
	}
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.ShiftOverdueResponse{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.ShiftOverdueResponse, error) {
		today, err := s.today(ctx, tx)
		if err != nil {
			return nil, err
		}
		answer := &schedulingv1.ShiftOverdueResponse{}
		answer.Crops, err = s.shiftOverdue(ctx, tx, farmID, today)
		return answer, err
	})
}

// ShiftDue moves the overdue crops of a co-op that were not moved yet today, and
// tells how many crops moved.
func (s *Server) ShiftDue(ctx context.Context, coopID string) (moved int, err error) {
	ctx = identity.With(ctx, identity.Identity{CoopID: coopID, Role: identity.Service, Name: "daily round"})
	err = pg.InTx(ctx, s.pool, coopID, func(ctx context.Context, tx pgx.Tx) error {
		today, err := s.today(ctx, tx)
		if err != nil {
			return err
		}
		due, err := store.BeginRound(ctx, tx, today)
		if err != nil || !due {
			moved = 0
			return err
		}
		crops, err := s.shiftOverdue(ctx, tx, "", today)
		moved = len(crops)
		return err
	})
	return moved, err
}

// shiftOverdue moves the overdue crops of a farm, or of all where it is empty, and
// what waits for them.
func (s *Server) shiftOverdue(ctx context.Context, tx pgx.Tx, farmID string, today calendar.Date) ([]*schedulingv1.Crop, error) {
	waiting, err := store.ListWaitingCrops(ctx, tx, farmID, today)
	if err != nil {
		return nil, err
	}
	var late []string
	for _, c := range waiting {
		if _, ok := overdue(c, today); ok {
			late = append(late, c.ID)
		}
	}
	if len(late) == 0 {
		return nil, nil
	}
	return s.shiftLate(ctx, tx, late, today)
}
