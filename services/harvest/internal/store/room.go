package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Room is a growing room as scheduling told of it.
type Room struct {
	ID, FarmID string
	AreaM2     int32
	Name       string // on the door; empty where nobody told
	Version    int64  // 0 for an answer that was asked for
}

// SaveRoom keeps the room unless a version as new is there.
func SaveRoom(ctx context.Context, db pg.DB, r Room) error {
	const sql = `
		INSERT INTO room (room_id, farm_id, area_m2, name, version) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (coop_id, room_id) DO UPDATE
		SET farm_id = excluded.farm_id, area_m2 = excluded.area_m2, name = excluded.name, version = excluded.version
		WHERE room.version < excluded.version`
	if _, err := db.Exec(ctx, sql, r.ID, r.FarmID, r.AreaM2, r.Name, r.Version); err != nil {
		return fmt.Errorf("save room %s: %w", r.ID, err)
	}
	return nil
}

// Rooms returns those of the rooms that are known, by id.
func Rooms(ctx context.Context, db pg.DB, ids []string) (map[string]Room, error) {
	rows, err := db.Query(ctx, roomsSQL, ids)
	if err != nil {
		return nil, fmt.Errorf("read rooms: %w", err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Room])
	if err != nil {
		return nil, fmt.Errorf("read rooms: %w", err)
	}
	return index(list, func(r Room) string { return r.ID }), nil
}

// AllRooms returns the ids of the co-op's rooms, of so many at most.
func AllRooms(ctx context.Context, db pg.DB, most int) ([]string, error) {
	return texts(ctx, db, "rooms", `SELECT room_id FROM room ORDER BY 1 LIMIT $1`, most)
}

const roomsSQL = `SELECT room_id, farm_id, area_m2, name, version FROM room WHERE room_id = ANY($1)`

func index[R any](rows []R, id func(R) string) map[string]R {
	m := make(map[string]R, len(rows))
	for _, r := range rows {
		m[id(r)] = r
	}
	return m
}
