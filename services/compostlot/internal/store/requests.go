package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Request is what a farm asks for one room.
type Request struct {
	ID, FarmID, RoomID, CropID string // CropID is empty where no crop is named
	WantedKg                   int64
	SmallestUsefulKg           int64
	WholeFill                  bool
	Earliest, Latest           time.Time
	Phases                     []int16 // ascending
	AskedAt                    time.Time
	RoundID                    string // the round that gave it a share; empty while it waits
	Change
}

const requestColumns = `compost_request_id, farm_id, room_id, crop_id, wanted_kg, smallest_useful_kg, whole_fill,
	earliest_date, latest_date, phases, asked_at, round_id, version, changed_by, changed_at`

const readRequests = `SELECT compost_request_id, farm_id, room_id, COALESCE(crop_id, ''), wanted_kg, smallest_useful_kg, whole_fill,
	earliest_date, latest_date, phases, asked_at, COALESCE(round_id, ''), version, changed_by, changed_at
	FROM compost_request`

// LockRequests returns those of the requests that exist.
func LockRequests(ctx context.Context, tx pgx.Tx, requestIDs []string) (map[string]Request, error) {
	return byID(ctx, tx, "lock requests", func(r Request) string { return r.ID },
		readRequests+` WHERE compost_request_id = ANY($1) ORDER BY compost_request_id FOR UPDATE`, requestIDs)
}

// ListRequests returns the requests of one farm or (empty) all, by id.
func ListRequests(ctx context.Context, db pg.DB, farmID string) ([]Request, error) {
	return collect[Request](ctx, db, "list requests",
		readRequests+` WHERE $1 = '' OR farm_id = $1 ORDER BY compost_request_id`, farmID)
}

const waiting = readRequests + ` WHERE round_id IS NULL AND earliest_date <= $2 AND latest_date >= $1 ORDER BY compost_request_id`

// FindRequest returns a request, if there is one.
func FindRequest(ctx context.Context, db pg.DB, requestID string) (Request, bool, error) {
	rows, err := collect[Request](ctx, db, "find request", readRequests+` WHERE compost_request_id = $1`, requestID)
	if err != nil || len(rows) == 0 {
		return Request{}, false, err
	}
	return rows[0], true, nil
}

// WaitingRequests returns the requests without a share whose window touches a span, by id.
func WaitingRequests(ctx context.Context, db pg.DB, from, to time.Time) ([]Request, error) {
	return collect[Request](ctx, db, "waiting requests", waiting, from, to)
}

// LockWaitingRequests is WaitingRequests with the rows held.
func LockWaitingRequests(ctx context.Context, tx pgx.Tx, from, to time.Time) ([]Request, error) {
	return collect[Request](ctx, tx, "lock waiting requests", waiting+` FOR UPDATE`, from, to)
}

// InsertRequests adds requests that do not exist.
func InsertRequests(ctx context.Context, tx pgx.Tx, requests []Request) error {
	const sql = `INSERT INTO compost_request (` + requestColumns + `)
		VALUES ($1, $2, $3, NULLIF($4, ''), $5, $6, $7, $8, $9, $10, $11, NULLIF($12, ''), $13, $14, $15)`
	return each(ctx, tx, "insert requests", sql, requests, requestArgs)
}

// UpdateRequests changes requests that exist.
func UpdateRequests(ctx context.Context, tx pgx.Tx, requests []Request) error {
	const sql = `UPDATE compost_request SET farm_id = $2, room_id = $3, crop_id = NULLIF($4, ''), wanted_kg = $5,
		smallest_useful_kg = $6, whole_fill = $7, earliest_date = $8, latest_date = $9, phases = $10, asked_at = $11,
		round_id = NULLIF($12, ''), version = $13, changed_by = $14, changed_at = $15
		WHERE compost_request_id = $1`
	return each(ctx, tx, "update requests", sql, requests, requestArgs)
}

func requestArgs(r Request) []any {
	return []any{r.ID, r.FarmID, r.RoomID, r.CropID, r.WantedKg, r.SmallestUsefulKg, r.WholeFill, r.Earliest, r.Latest,
		r.Phases, r.AskedAt, r.RoundID, r.Version, r.By, r.At}
}

// SettleRequests notes the round that gave requests a share.
func SettleRequests(ctx context.Context, tx pgx.Tx, roundID string, requestIDs []string, by string, at time.Time) error {
	const sql = `UPDATE compost_request SET round_id = $1, version = version + 1, changed_by = $3, changed_at = $4
		WHERE compost_request_id = ANY($2)`
	if _, err := tx.Exec(ctx, sql, roundID, requestIDs, by, at); err != nil {
		return fmt.Errorf("settle requests: %w", err)
	}
	return nil
}
