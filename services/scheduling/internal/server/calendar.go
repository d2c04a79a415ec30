package server

import (
	"context"
	"slices"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/store"
)

// maxSpan is the longest calendar that is answered at once, in days.
const maxSpan = 800

// GetCalendar returns the crops of a span of days that the caller may see, and the
// rooms that two of them hold at once.
func (s *Server) GetCalendar(ctx context.Context, req *schedulingv1.GetCalendarRequest) (*schedulingv1.GetCalendarResponse, error) {
	first, err := dateFrom(req.GetFromDate(), "from_date")
	if err != nil {
		return nil, err
	}
	last, err := dateFrom(req.GetToDate(), "to_date")
	if err != nil {
		return nil, err
	}
	if days := last.Sub(first); days < 0 || days > maxSpan {
		return nil, fault.InvalidField("to_date", "lies %d days after from_date; give 0 to %d days", days, maxSpan)
	}
	farmID, err := visibleFarm(identity.Must(ctx), req.GetFarmId())
	if err != nil {
		return nil, err
	}
	answer := &schedulingv1.GetCalendarResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		crops, err := store.ListCalendar(ctx, tx, farmID, first, last)
		if err != nil {
			return err
		}
		programmes, err := programmesOf(ctx, tx, crops)
		if err != nil {
			return err
		}
		answer.Crops = each(crops, func(c store.Crop) *schedulingv1.Crop { return leanCropMessage(c, programmes[c.Programme]) })
		answer.Conflicts, err = conflicts(ctx, tx, heldTwice(crops), first, last)
		return err
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

// conflicts finds the days of a span on which two crops hold one of the rooms. The
// rooms' other crops are loaded too, since a move that resolves a conflict must
// not run into them.
func conflicts(ctx context.Context, tx pgx.Tx, roomIDs []string, first, last calendar.Date) ([]*schedulingv1.CropConflict, error) {
	if len(roomIDs) == 0 {
		return nil, nil
	}
	crops, err := store.ListRoomCrops(ctx, tx, roomIDs, first.Add(-lookBack))
	if err != nil {
		return nil, err
	}
	programmes, err := programmesOf(ctx, tx, crops)
	if err != nil {
		return nil, err
	}
	rules := each(crops, func(c store.Crop) calendar.Crop { return rulesCrop(c, programmes[c.Programme]) })
	dates, err := calendar.Recompute(rules, nil)
	if err != nil {
		return nil, err
	}
	found := slices.DeleteFunc(calendar.Conflicts(rules, dates, nil), func(c calendar.Conflict) bool {
		return c.Until <= first || c.From > last
	})
	return each(found, conflictMessage), nil
}

// heldTwice lists the rooms into which a crop comes before another has left. The
// stored days tell, so that a calendar without conflicts computes nothing. Crops
// stand by room and fill date.
func heldTwice(crops []store.Crop) []string {
	var rooms []string
	var room string
	var until calendar.Date
	for _, c := range crops {
		if c.OccupiedFrom == nil {
			continue
		}
		if c.RoomID == room && *c.OccupiedFrom < until {
			rooms = append(rooms, room)
		}
		if c.RoomID != room {
			room, until = c.RoomID, *c.OccupiedEnd
		}
		until = max(until, *c.OccupiedEnd)
	}
	return slices.Compact(rooms)
}

func conflictMessage(c calendar.Conflict) *schedulingv1.CropConflict {
	out := &schedulingv1.CropConflict{
		RoomId: c.Facility, FirstCropId: c.First, SecondCropId: c.Second,
		FromDate: c.From.String(), UntilDate: c.Until.String(),
	}
	if c.Move != nil {
		out.MoveCropId, out.MoveDays = c.Move.Crop, int32(c.Move.Days)
	}
	return out
}
