package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Discard is what was thrown away of a lot.
type Discard struct {
	ID, LotID  string
	Grams      int64
	Reason     int16 // as in the contract
	Note       string
	RecordedAt time.Time
	RecordedBy string
}

// AddDiscard writes a discard. Its lot is there.
func AddDiscard(ctx context.Context, db pg.DB, d Discard) error {
	const sql = `
		INSERT INTO discard (discard_id, pick_lot_id, grams, reason, note, recorded_at, recorded_by)
		VALUES ($1, $2, $3, $4, $5, $6, $7)`
	_, err := db.Exec(ctx, sql, d.ID, d.LotID, d.Grams, d.Reason, d.Note, d.RecordedAt, d.RecordedBy)
	return wrap("add a discard", err)
}

// DiscardsOfLots returns what was thrown away of the lots in the order of recording.
func DiscardsOfLots(ctx context.Context, db pg.DB, lotIDs []string) ([]Discard, error) {
	const sql = `
		SELECT discard_id, pick_lot_id, grams, reason, note, recorded_at, recorded_by
		FROM discard WHERE pick_lot_id = ANY($1) ORDER BY recorded_at, discard_id`
	list, err := collect(ctx, db, pgx.RowToStructByPos[Discard], sql, lotIDs)
	return list, wrap("read the discards of lots", err)
}
