package server

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
	"breakshare.example/services/scheduling/internal/store"
)

// SaveRoom creates or changes one room.
func (s *Server) SaveRoom(ctx context.Context, req *schedulingv1.SaveRoomRequest) (*schedulingv1.Room, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.Room{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.Room, error) {
		return one(s.saveRooms(ctx, tx, []*schedulingv1.Room{req.GetRoom()}, single("room")))
	})
}

// BatchSaveRooms creates or changes many rooms, all or none.
func (s *Server) BatchSaveRooms(ctx context.Context, req *schedulingv1.BatchSaveRoomsRequest) (*schedulingv1.BatchSaveRoomsResponse, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.BatchSaveRoomsResponse{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.BatchSaveRoomsResponse, error) {
		rooms, err := s.saveRooms(ctx, tx, req.GetRooms(), element("rooms"))
		if err != nil {
			return nil, err
		}
		return &schedulingv1.BatchSaveRoomsResponse{Rooms: rooms}, nil
	})
}

// ListRooms returns the rooms that the caller may see, by id.
func (s *Server) ListRooms(ctx context.Context, req *schedulingv1.ListRoomsRequest) (*schedulingv1.ListRoomsResponse, error) {
	farmID, err := visibleFarm(identity.Must(ctx), req.GetFarmId())
	if err != nil {
		return nil, err
	}
	answer := &schedulingv1.ListRoomsResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		rooms, err := store.ListRooms(ctx, tx, farmID)
		answer.Rooms = each(rooms, roomMessage)
		return err
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

func (s *Server) saveRooms(ctx context.Context, tx pgx.Tx, in []*schedulingv1.Room, at pathOf) ([]*schedulingv1.Room, error) {
	if err := onceEach(in, (*schedulingv1.Room).GetRoomId, at, "room_id"); err != nil {
		return nil, err
	}
	farms, err := store.LockFarms(ctx, tx, each(in, (*schedulingv1.Room).GetFarmId))
	if err != nil {
		return nil, err
	}
	stored, err := store.LockRooms(ctx, tx, each(in, (*schedulingv1.Room).GetRoomId))
	if err != nil {
		return nil, err
	}
	facilities, err := store.ListFacilities(ctx, tx, "")
	if err != nil {
		return nil, err
	}
	out := make([]*schedulingv1.Room, len(in))
	for i, r := range in {
		if err := roomMayBe(r.GetRoomId(), facilities, at(i)); err != nil {
			return nil, err
		}
		if _, ok := farms[r.GetFarmId()]; !ok {
			return nil, unknown("FARM", r.GetFarmId(), at(i)+".farm_id", "save the farm first")
		}
		old, found := stored[r.GetRoomId()]
		if out[i], err = s.saveRoom(ctx, tx, r, old, found, at(i)); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (s *Server) saveRoom(ctx context.Context, tx pgx.Tx, in *schedulingv1.Room, old store.Room, found bool, path string) (*schedulingv1.Room, error) {
	system, ok := systems.word[in.GetGrowingSystem()]
	if !ok {
		return nil, fault.InvalidField(path+".growing_system", "is not stated; give trays, shelves, bulk phase II, bulk phase III or bags")
	}
	room := store.Room{
		ID: in.GetRoomId(), FarmID: in.GetFarmId(), Name: in.GetName(), AreaM2: in.GetAreaM2(), System: system, Change: old.Change,
	}
	save := saving.Save{Thing: fmt.Sprintf("room %q", room.ID), Path: path, Etag: in.GetEtag(), Found: found, Equal: room == old, Last: old.Change}
	write, err := save.Decide()
	if err != nil {
		return nil, err
	}
	if !write {
		return roomMessage(old), nil
	}
	if found {
		if err := roomMayChange(ctx, tx, room, old, path); err != nil {
			return nil, err
		}
	}
	room.Change = s.change(ctx, old.Version+1)
	if ok, err := store.PutRoom(ctx, tx, identity.Must(ctx).CoopID, room); err != nil {
		return nil, err
	} else if !ok {
		return nil, saving.Raced(save.Thing)
	}
	answer := roomMessage(room)
	return answer, tell(ctx, tx, "room", "saved", room.ID, &schedulingv1.RoomSaved{Room: answer, Version: room.Version})
}

// roomMayBe refuses a room under the id of a tunnel or other facility: in the
// calendar one name stands for one place.
func roomMayBe(id string, facilities []store.Facility, path string) error {
	if slices.ContainsFunc(facilities, func(f store.Facility) bool { return f.ID == id }) {
		return fault.New(fault.Exists, "NAME_OF_A_FACILITY", "%s.room_id: %q is a facility; choose another id", path, id).
			WithField(path+".room_id", "is a facility; choose another id")
	}
	return nil
}

// roomMayChange refuses another farm or growing system while crops are planned or
// running in the room: they were planned for what the room was. Another area
// counts for the crops planned from then on.
func roomMayChange(ctx context.Context, tx pgx.Tx, room, old store.Room, path string) error {
	field := ".growing_system"
	switch {
	case room.FarmID != old.FarmID:
		field = ".farm_id"
	case room.System == old.System:
		return nil
	}
	live, err := store.LiveCrops(ctx, tx, room.ID)
	if err != nil || len(live) == 0 {
		return err
	}
	crops := strings.Join(live, ", ")
	return fault.New(fault.Precondition, "ROOM_IN_USE", "room %q has crops that have not ended (%s); end them before the room changes its farm or growing system", room.ID, crops).
		WithField(path+field, "cannot change while crops stand or are planned in the room").WithMeta("crops", crops)
}

func roomMessage(r store.Room) *schedulingv1.Room {
	return &schedulingv1.Room{
		RoomId: r.ID, FarmId: r.FarmID, Name: r.Name, AreaM2: r.AreaM2,
		GrowingSystem: systems.enum[r.System], Etag: etag(r.Version),
	}
}
