package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Coop is what the service needs of the co-op's settings.
type Coop struct {
	TimeZone string // IANA name
	Version  int64
}

// Farm is what the service needs of a farm.
type Farm struct {
	ID           string
	MemberShares int32 // 1 or more
	Version      int64
}

// Room is what the service needs of a growing room.
type Room struct {
	ID, FarmID string
	Version    int64
}

// Crop is what the service needs of a crop.
type Crop struct {
	ID, RoomID, FarmID string
	Ended              bool
	FillDate           time.Time
	CompostGrams       int64 // 0 where it takes none
	Phase              int16 // of the compost; 0 where it takes none
	Version            int64
}

// SaveCoop keeps the settings where they are newer than what is known.
func SaveCoop(ctx context.Context, tx pgx.Tx, c Coop) error {
	const sql = `
		INSERT INTO coop AS known (time_zone, version) VALUES ($1, $2)
		ON CONFLICT (coop_id) DO UPDATE SET time_zone = excluded.time_zone, version = excluded.version
		WHERE known.version < excluded.version`
	if _, err := tx.Exec(ctx, sql, c.TimeZone, c.Version); err != nil {
		return fmt.Errorf("save co-op: %w", err)
	}
	return nil
}

// FindCoop returns the settings, if they are known.
func FindCoop(ctx context.Context, db pg.DB) (Coop, bool, error) {
	rows, err := collect[Coop](ctx, db, "find co-op", `SELECT time_zone, version FROM coop`)
	if err != nil || len(rows) == 0 {
		return Coop{}, false, err
	}
	return rows[0], true, nil
}

// inOrder is the items by id: transactions that keep the same rows at once take them in one
// order, and so do not deadlock.
func inOrder[T any](items []T, id func(T) string) []T {
	return slices.SortedFunc(slices.Values(items), func(a, b T) int { return strings.Compare(id(a), id(b)) })
}

// SaveFarms keeps the farms that are newer than what is known of them.
func SaveFarms(ctx context.Context, tx pgx.Tx, farms ...Farm) error {
	const sql = `
		INSERT INTO farm AS known (farm_id, member_shares, version) VALUES ($1, $2, $3)
		ON CONFLICT (coop_id, farm_id) DO UPDATE SET member_shares = excluded.member_shares, version = excluded.version
		WHERE known.version < excluded.version`
	return each(ctx, tx, "save farms", sql, inOrder(farms, func(o Farm) string { return o.ID }), func(f Farm) []any { return []any{f.ID, f.MemberShares, f.Version} })
}

// SaveRooms keeps the rooms that are newer than what is known of them.
func SaveRooms(ctx context.Context, tx pgx.Tx, rooms ...Room) error {
	const sql = `
		INSERT INTO room AS known (room_id, farm_id, version) VALUES ($1, $2, $3)
		ON CONFLICT (coop_id, room_id) DO UPDATE SET farm_id = excluded.farm_id, version = excluded.version
		WHERE known.version < excluded.version`
	return each(ctx, tx, "save rooms", sql, inOrder(rooms, func(o Room) string { return o.ID }), func(r Room) []any { return []any{r.ID, r.FarmID, r.Version} })
}

// SaveCrops keeps the crops that are newer than what is known of them.
func SaveCrops(ctx context.Context, tx pgx.Tx, crops ...Crop) error {
	const sql = `
		INSERT INTO crop AS known (crop_id, room_id, farm_id, ended, fill_date, compost_grams, compost_phase, version)
		VALUES ($1, $2, $3, $4, $5, NULLIF($6::bigint, 0), NULLIF($7::smallint, 0), $8)
		ON CONFLICT (coop_id, crop_id) DO UPDATE SET room_id = excluded.room_id, farm_id = excluded.farm_id, ended = excluded.ended,
			fill_date = excluded.fill_date, compost_grams = excluded.compost_grams, compost_phase = excluded.compost_phase,
			version = excluded.version
		WHERE known.version < excluded.version`
	return each(ctx, tx, "save crops", sql, inOrder(crops, func(o Crop) string { return o.ID }), func(c Crop) []any {
		return []any{c.ID, c.RoomID, c.FarmID, c.Ended, c.FillDate, c.CompostGrams, c.Phase, c.Version}
	})
}

// Farms returns those of the farms that are known.
func Farms(ctx context.Context, db pg.DB, farmIDs []string) (map[string]Farm, error) {
	return byID(ctx, db, "read farms", func(f Farm) string { return f.ID },
		`SELECT farm_id, member_shares, version FROM farm WHERE farm_id = ANY($1)`, farmIDs)
}

// Rooms returns those of the rooms that are known.
func Rooms(ctx context.Context, db pg.DB, roomIDs []string) (map[string]Room, error) {
	return byID(ctx, db, "read rooms", func(r Room) string { return r.ID },
		`SELECT room_id, farm_id, version FROM room WHERE room_id = ANY($1)`, roomIDs)
}

// Crops returns those of the crops that are known.
func Crops(ctx context.Context, db pg.DB, cropIDs []string) (map[string]Crop, error) {
	const sql = `
		SELECT crop_id, room_id, farm_id, ended, fill_date, COALESCE(compost_grams, 0), COALESCE(compost_phase, 0), version
		FROM crop WHERE crop_id = ANY($1)`
	return byID(ctx, db, "read crops", func(c Crop) string { return c.ID }, sql, cropIDs)
}
