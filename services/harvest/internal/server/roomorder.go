package server

import (
	"context"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/hygiene"
	"breakshare.example/services/harvest/internal/store"
)

// GetRoomOrder lists the rooms with a crop in the order of visiting.
func (s *Server) GetRoomOrder(ctx context.Context, req *harvestv1.GetRoomOrderRequest) (*harvestv1.GetRoomOrderResponse, error) {
	farm, err := listedFarm(ctx, req.GetFarmId())
	if err != nil {
		return nil, err
	}
	resp := &harvestv1.GetRoomOrderResponse{Cautions: cautions()}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		cal, err := s.calendar(ctx, tx)
		if err != nil {
			return err
		}
		on, err := dayOr(req.GetDate(), "date", cal.today())
		if err != nil {
			return err
		}
		resp.Date = on.String()
		resp.Visits, err = s.visits(ctx, tx, on, farm)
		return err
	})
	return resp, err
}

func (s *Server) visits(ctx context.Context, tx pgx.Tx, on day.Date, farm string) ([]*harvestv1.RoomVisit, error) {
	crops, err := standingOn(ctx, tx, on, farm)
	if err != nil {
		return nil, err
	}
	made, _, err := s.fans(ctx, tx, crops, on, 1)
	if err != nil {
		return nil, err
	}
	breaks := map[string]int{}
	for _, f := range made {
		if d, ok := f.at(on); ok {
			breaks[f.crop.ID] = d.Break
		}
	}
	incidents, err := store.Incidents(ctx, tx, farm, "", false)
	if err != nil {
		return nil, err
	}
	infected := map[string]bool{}
	for _, i := range incidents {
		infected[i.RoomID] = infected[i.RoomID] || i.Infects
	}
	rooms, err := store.Rooms(ctx, tx, roomsOf(crops))
	if err != nil {
		return nil, err
	}
	byFarm := map[string][]hygiene.Room{}
	in := map[string]store.Crop{}
	for _, c := range crops {
		in[c.RoomID] = c
		// A crop whose curve nobody knows bears from its first pick on.
		n, known := breaks[c.ID]
		if !known && on >= c.FirstPick {
			n = 1
		}
		byFarm[c.FarmID] = append(byFarm[c.FarmID], hygiene.Room{ID: c.RoomID, Name: rooms[c.RoomID].Name, Break: n, Infected: infected[c.RoomID]})
	}
	var out []*harvestv1.RoomVisit
	for _, f := range slices.Sorted(maps.Keys(byFarm)) {
		for _, v := range hygiene.Order(byFarm[f]) {
			out = append(out, &harvestv1.RoomVisit{
				RoomId: v.Room.ID, Name: v.Room.Name, FarmId: f, CropId: in[v.Room.ID].ID,
				BreakNumber: int32(v.Room.Break), Infected: v.Room.Infected, Why: v.Why,
			})
		}
	}
	return out, nil
}

// standingOn are the crops that stand in rooms on a day, one of each room.
func standingOn(ctx context.Context, tx pgx.Tx, on day.Date, farm string) ([]store.Crop, error) {
	crops, err := store.CropsBearing(ctx, tx, on, on, farm)
	if err != nil {
		return nil, err
	}
	book, err := store.Book(ctx, tx, roomsOf(crops))
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(crops, func(c store.Crop) bool {
		stands, ok := book.CropOn(c.RoomID, on)
		return !ok || stands.ID != c.ID
	}), nil
}

// roomsOf are the rooms of the crops, each once.
func roomsOf(crops []store.Crop) []string {
	rooms := map[string]bool{}
	for _, c := range crops {
		rooms[c.RoomID] = true
	}
	return slices.Sorted(maps.Keys(rooms))
}
