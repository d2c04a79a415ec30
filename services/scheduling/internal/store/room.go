package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/programme"
)

// Room is one growing room.
type Room struct {
	ID, FarmID, Name string
	AreaM2           int32
	System           programme.System
	Change
}

const roomColumns = `room_id, farm_id, name, area_m2, growing_system, version, changed_by, changed_at`

func scanRoom(row pgx.CollectableRow) (Room, error) {
	var r Room
	err := row.Scan(&r.ID, &r.FarmID, &r.Name, &r.AreaM2, &r.System, &r.Version, &r.By, &r.At)
	return r, err
}

// ListRooms reads all rooms, or those of one farm where farmID is not empty.
func ListRooms(ctx context.Context, db pg.DB, farmID string) ([]Room, error) {
	const sql = `SELECT ` + roomColumns + ` FROM room WHERE $1 = '' OR farm_id = $1 ORDER BY room_id COLLATE "C"`
	rows, err := db.Query(ctx, sql, farmID)
	if err != nil {
		return nil, fmt.Errorf("list rooms: %w", err)
	}
	rooms, err := pgx.CollectRows(rows, scanRoom)
	if err != nil {
		return nil, fmt.Errorf("list rooms: %w", err)
	}
	return rooms, nil
}

// LockRooms reads those of the rooms that are there, and keeps others from
// changing them, or planning in them, until the transaction ends. Locks are
// taken in the order of the ids, so two batches cannot wait for each other.
func LockRooms(ctx context.Context, tx pgx.Tx, roomIDs []string) (map[string]Room, error) {
	const sql = `SELECT ` + roomColumns + ` FROM room WHERE room_id = ANY($1) ORDER BY room_id FOR UPDATE`
	rows, err := tx.Query(ctx, sql, roomIDs)
	if err != nil {
		return nil, fmt.Errorf("lock rooms: %w", err)
	}
	rooms, err := pgx.CollectRows(rows, scanRoom)
	if err != nil {
		return nil, fmt.Errorf("lock rooms: %w", err)
	}
	return byKey(rooms, func(r Room) string { return r.ID }), nil
}

// PutRoom writes the room at its version. It reports false, and writes nothing,
// where the version before is not the one stored.
func PutRoom(ctx context.Context, tx pgx.Tx, coopID string, r Room) (bool, error) {
	const sql = `
		INSERT INTO room AS old (coop_id, ` + roomColumns + `)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
		ON CONFLICT (coop_id, room_id) DO UPDATE SET
			farm_id = excluded.farm_id, name = excluded.name, area_m2 = excluded.area_m2,
			growing_system = excluded.growing_system,
			version = excluded.version, changed_by = excluded.changed_by, changed_at = excluded.changed_at
		WHERE old.version = excluded.version - 1`
	tag, err := tx.Exec(ctx, sql, coopID, r.ID, r.FarmID, r.Name, r.AreaM2, r.System, r.Version, r.By, r.At)
	if err != nil {
		return false, fmt.Errorf("write room %q: %w", r.ID, err)
	}
	return tag.RowsAffected() == 1, nil
}
