package server

import (
	"context"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/programme"
	"breakshare.example/services/scheduling/internal/store"
)

// PlanCrop plans one crop, forwards from a fill date or backwards from a wanted
// first pick. A plan over the published tonnes of its week is refused, unless the
// caller wants it all the same.
func (s *Server) PlanCrop(ctx context.Context, req *schedulingv1.PlanCropRequest) (*schedulingv1.Crop, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.Crop{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.Crop, error) {
		crops, err := s.planCrops(ctx, tx, []*schedulingv1.CropPlan{req.GetPlan()}, single("plan"))
		crop, err := one(crops, err)
		if err != nil {
			return nil, err
		}
		if !req.GetBeyondSlots() {
			if err := s.yardsCan(ctx, tx, crops, single("plan")); err != nil {
				return nil, err
			}
		}
		return cropMessage(crop.Crop, crop.programme), nil
	})
}

// BatchPlanCrops plans many crops, all or none.
func (s *Server) BatchPlanCrops(ctx context.Context, req *schedulingv1.BatchPlanCropsRequest) (*schedulingv1.BatchPlanCropsResponse, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.BatchPlanCropsResponse{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.BatchPlanCropsResponse, error) {
		crops, err := s.planCrops(ctx, tx, req.GetPlans(), element("plans"))
		if err != nil {
			return nil, err
		}
		return &schedulingv1.BatchPlanCropsResponse{Crops: each(crops, grown.lean)}, nil
	})
}

// grown is a crop with the programme it is grown by.
type grown struct {
	store.Crop
	programme *programme.Programme
}

func (g grown) lean() *schedulingv1.Crop { return leanCropMessage(g.Crop, g.programme) }

// planCrops plans in the order given, so that a later plan of a batch meets the
// earlier ones. The rooms stay locked until the transaction ends: of two plans for
// one room at once, the second sees the first.
func (s *Server) planCrops(ctx context.Context, tx pgx.Tx, plans []*schedulingv1.CropPlan, at pathOf) ([]grown, error) {
	p, err := s.newPlanner(ctx, tx, plans)
	if err != nil {
		return nil, err
	}
	drafts := make([]draft, len(plans))
	for i, plan := range plans {
		if drafts[i], err = p.draft(ctx, plan, at(i)); err != nil {
			return nil, err
		}
	}
	if err := onceEach(drafts, func(d draft) string { return d.crop.ID }, at, "crop_id"); err != nil {
		return nil, err
	}
	if err := p.loadNeighbours(ctx, drafts); err != nil {
		return nil, err
	}
	today, err := s.today(ctx, tx)
	if err != nil {
		return nil, err
	}
	if err := store.JoinRound(ctx, tx, identity.Must(ctx).CoopID, today); err != nil {
		return nil, err
	}
	out := make([]grown, len(drafts))
	for i, d := range drafts {
		if out[i], err = p.take(ctx, d, at(i)); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// draft is a plan worked out on its own, before its neighbours are asked.
type draft struct {
	crop     grown
	rules    calendar.Crop
	calendar calendar.Calendar
	dateAt   string            // the field that gave the date
	open     []programme.Place // places for which the farm's own facility is still to be found
}

// draft works a plan out: room, programme, dates.
func (p *planner) draft(ctx context.Context, plan *schedulingv1.CropPlan, path string) (draft, error) {
	room, ok := p.rooms[plan.GetRoomId()]
	if !ok {
		return draft{}, unknown("ROOM", plan.GetRoomId(), path+".room_id", "save the room first")
	}
	if err := ownFarm(identity.Must(ctx), room.FarmID); err != nil {
		return draft{}, err
	}
	prog, err := p.programme(ctx, plan.GetProgrammeId(), room, path)
	if err != nil {
		return draft{}, err
	}
	d := draft{crop: grown{programme: prog, Crop: store.Crop{
		ID: plan.GetCropId(), RoomID: room.ID, FarmID: room.FarmID, AreaM2: room.AreaM2, State: store.Planned,
		Programme: store.ProgrammeKey{ID: prog.ID, Version: prog.Version},
	}}}
	if err := p.facilities(&d, plan.GetFacilities(), path); err != nil {
		return draft{}, err
	}
	if d.dateAt, err = d.date(plan, p.rules, path); err != nil {
		return draft{}, err
	}
	if d.crop.ID == "" {
		d.crop.ID = room.ID + "-" + strings.ReplaceAll(d.crop.PlannedFill.String(), "-", "")
	}
	if len(d.crop.ID) > maxID {
		return draft{}, fault.InvalidField(path+".crop_id", "formed from room and fill date it is %d characters long; give one of %d at most", len(d.crop.ID), maxID)
	}
	d.rules.ID = d.crop.ID
	return d, nil
}

// maxID is the longest id of a thing, in characters.
const maxID = 64

// date computes the calendar from the one date that the plan gives.
func (d *draft) date(plan *schedulingv1.CropPlan, rules *calendar.Rules, path string) (dateAt string, err error) {
	d.rules = rulesCrop(d.crop.Crop, d.crop.programme)
	switch from := plan.GetFrom().(type) {
	case *schedulingv1.CropPlan_FillDate:
		dateAt = path + ".fill_date"
		if d.rules.Fill, err = dateFrom(from.FillDate, dateAt); err != nil {
			return "", err
		}
		d.calendar, err = calendar.Forward(d.rules, rules)
	case *schedulingv1.CropPlan_FirstPickDate:
		dateAt = path + ".first_pick_date"
		day, wrong := dateFrom(from.FirstPickDate, dateAt)
		if wrong != nil {
			return "", wrong
		}
		d.rules, d.calendar, err = calendar.Backward(d.rules, day, rules)
	default:
		return "", fault.InvalidField(path+".fill_date", "is missing; give the fill date or the wanted first pick date")
	}
	if err != nil {
		return "", dateFault(err, dateAt)
	}
	d.crop.PlannedFill = d.rules.Fill
	lay(&d.crop.Crop, d.calendar)
	return dateAt, nil
}

// take writes the crop, unless a neighbour is in its way. A crop that is planned
// already just so stays as it is.
func (p *planner) take(ctx context.Context, d draft, path string) (grown, error) {
	if old, ok := p.stored[d.crop.ID]; ok {
		if old.RoomID == d.crop.RoomID && old.Programme.ID == d.crop.Programme.ID && old.PlannedFill == d.crop.PlannedFill {
			return grown{old, p.versions[old.Programme]}, nil
		}
		return grown{}, fault.New(fault.Exists, "CROP_EXISTS", "%s.crop_id: crop %q is planned already, in room %q by programme %q from %s; choose another id", path, old.ID, old.RoomID, old.Programme.ID, old.PlannedFill).
			WithField(path+".crop_id", "%q is taken; choose another", old.ID).WithMeta("cropId", old.ID)
	}
	if err := p.find(&d); err != nil {
		return grown{}, err
	}
	if err := p.meet(d); err != nil {
		return grown{}, err
	}
	d.crop.Change = p.s.change(ctx, 1)
	if ok, err := store.PutCrop(ctx, p.tx, identity.Must(ctx).CoopID, 0, d.crop.Crop); err != nil {
		return grown{}, err
	} else if !ok {
		return grown{}, saving.Raced(fmt.Sprintf("crop %q", d.crop.ID))
	}
	p.add(d.rules, d.calendar)
	return d.crop, tell(ctx, p.tx, "crop", "planned", d.crop.ID, &schedulingv1.CropPlanned{Crop: cropMessage(d.crop.Crop, d.crop.programme)})
}
