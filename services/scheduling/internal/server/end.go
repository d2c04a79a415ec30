package server

import (
	"context"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/store"
)

// EndCrop ends a running crop on the day its room is free, or calls off a planned
// one.
func (s *Server) EndCrop(ctx context.Context, req *schedulingv1.EndCropRequest) (*schedulingv1.Crop, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.Crop{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.Crop, error) {
		day, err := dateFrom(req.GetDate(), "date")
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
		if c.State == store.Ended && *c.Ended == day {
			return cropMessage(c.Crop, c.programme), nil
		}
		rules, err := workingRules(ctx, tx)
		if err != nil {
			return nil, err
		}
		if err := s.end(ctx, c, day, rules); err != nil {
			return nil, err
		}
		answer := cropMessage(c.Crop, c.programme)
		if err := s.keep(ctx, tx, c); err != nil {
			return nil, err
		}
		if err := s.follow(ctx, tx, []store.Crop{c.Crop}, rules); err != nil {
			return nil, err
		}
		return answer, tell(ctx, tx, "crop", "ended", c.ID, &schedulingv1.CropEnded{Crop: answer})
	})
}

// end closes the crop. One that was never filled keeps the dates of its plan and
// lets the room go; of one that was, the room is free from the day on, and steps
// that nobody recorded are drawn in before it.
func (s *Server) end(ctx context.Context, c *open, day calendar.Date, rules *calendar.Rules) error {
	if c.State == store.Ended {
		return endedFault(c, "crop_id")
	}
	c.Ended, c.NotBefore = &day, nil
	if c.State == store.Planned {
		c.CalledOff = true
		release(&c.Crop)
	} else {
		dates, err := calendar.Compute(rulesCrop(c.Crop, c.programme), rules)
		if err != nil {
			return dateFault(err, "date")
		}
		lay(&c.Crop, dates)
	}
	c.State = store.Ended
	c.Change = s.change(ctx, c.Version+1)
	return nil
}
