package server

import (
	"context"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
)

// spot is where compost goes: a farm, its room and, where known, the crop.
type spot struct {
	farm, room, crop string
	past             bool // it went there already: the crop may have ended since
}

// checkPlaces refuses spots that do not exist or do not belong together. What scheduling has
// but has not told yet must have been learnt before.
func checkPlaces(ctx context.Context, tx pgx.Tx, spots []spot, at place) error {
	farms, err := store.Farms(ctx, tx, ids(spots, func(s spot) string { return s.farm }))
	if err != nil {
		return err
	}
	rooms, err := store.Rooms(ctx, tx, ids(spots, func(s spot) string { return s.room }))
	if err != nil {
		return err
	}
	crops, err := store.Crops(ctx, tx, ids(spots, func(s spot) string { return s.crop }))
	if err != nil {
		return err
	}
	for i, s := range spots {
		if _, ok := farms[s.farm]; !ok {
			return fault.InvalidField(at(i)+"farm_id", "there is no farm %q: save it in scheduling first, or correct the id", s.farm)
		}
		room, ok := rooms[s.room]
		switch {
		case !ok:
			return fault.InvalidField(at(i)+"room_id", "there is no room %q: save it in scheduling first, or correct the id", s.room)
		case room.FarmID != s.farm:
			return fault.InvalidField(at(i)+"room_id", "room %q belongs to farm %q, not to %q: correct one of them", s.room, room.FarmID, s.farm)
		case s.crop == "":
			continue
		}
		crop, ok := crops[s.crop]
		switch {
		case !ok:
			return fault.InvalidField(at(i)+"crop_id", "there is no crop %q near these days: plan it first, or leave it empty", s.crop)
		case crop.RoomID != s.room:
			return fault.InvalidField(at(i)+"crop_id", "crop %q stands in room %q, not in %q: correct one of them", s.crop, crop.RoomID, s.room)
		case crop.Ended && !s.past:
			return fault.InvalidField(at(i)+"crop_id", "crop %q has ended: name the one that is to be filled, or leave it empty", s.crop)
		}
	}
	return nil
}
