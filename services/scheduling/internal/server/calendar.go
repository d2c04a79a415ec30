package server

import (
	"cmp"
	"context"
	"slices"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/store"
)

// maxSpan is the longest calendar that is answered at once, in days.
const maxSpan = 800

// GetCalendar returns the crops of a span of days that the caller may see, and the
// rooms that two of them hold at once.
func (s *Server) GetCalendar(ctx context.Context, req *schedulingv1.GetCalendarRequest) (*schedulingv1.GetCalendarResponse, error) {
	first, last, err := days(req.GetFromDate(), req.GetToDate())
	if err != nil {
		return nil, err
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
		answer.Conflicts, err = conflicts(ctx, tx, crops, first, last)
		return err
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

// conflicts finds the days of a span on which two crops hold one of the rooms or
// facilities. The other crops of these are loaded too, since a move that resolves
// a conflict must not run into them.
func conflicts(ctx context.Context, tx pgx.Tx, shown []store.Crop, first, last calendar.Date) ([]*schedulingv1.CropConflict, error) {
	rooms, facilities := heldTwice(shown)
	if len(rooms)+len(facilities) == 0 {
		return nil, nil
	}
	crops, err := neighbours(ctx, tx, rooms, facilities, first.Add(-lookBack))
	if err != nil {
		return nil, err
	}
	working, err := workingRules(ctx, tx)
	if err != nil {
		return nil, err
	}
	programmes, err := programmesOf(ctx, tx, crops)
	if err != nil {
		return nil, err
	}
	rules := each(crops, func(c store.Crop) calendar.Crop { return rulesCrop(c, programmes[c.Programme]) })
	dates, err := calendar.Recompute(rules, working)
	if err != nil {
		return nil, err
	}
	found := slices.DeleteFunc(calendar.Conflicts(rules, dates, working), func(c calendar.Conflict) bool {
		return c.Until <= first || c.From > last
	})
	return each(found, conflictMessage), nil
}

// heldTwice lists the rooms and the facilities into which a crop comes before
// another has left. The stored days tell, so that a calendar without conflicts
// computes nothing.
func heldTwice(crops []store.Crop) (rooms, facilities []string) {
	var inRooms, inFacilities []hold
	for _, c := range crops {
		if c.OccupiedFrom != nil {
			inRooms = append(inRooms, hold{c.RoomID, "", *c.OccupiedFrom, *c.OccupiedEnd})
		}
		for _, f := range c.Facilities {
			if f.From != nil {
				inFacilities = append(inFacilities, hold{f.ID, f.Load, *f.From, *f.Until})
			}
		}
	}
	return overlapping(inRooms), overlapping(inFacilities)
}

// hold is the days on which a room or facility is held, the last one excluded.
type hold struct {
	place, load string
	from, until calendar.Date
}

// overlapping lists the places of holds that share a day, by id. Crops of one
// load lie together without harm.
func overlapping(holds []hold) []string {
	slices.SortFunc(holds, func(a, b hold) int {
		return cmp.Or(cmp.Compare(a.place, b.place), cmp.Compare(a.from, b.from))
	})
	var places []string
	for i, a := range holds {
		for _, b := range holds[i+1:] {
			if b.place != a.place || b.from >= a.until {
				break
			}
			if a.load == "" || a.load != b.load {
				places = append(places, a.place)
				break
			}
		}
	}
	return slices.Compact(places)
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
