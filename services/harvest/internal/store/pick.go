package store

import (
	"context"
	"time"

	"breakshare.example/services/platform/pg"
)

// Pick is one weighing.
type Pick struct {
	ID, LotID   string
	Gross, Tare int64 // grams
	Crates      int32
	Picker      string // empty where not noted
	Break       *int32 // nil where not noted
	RecordedAt  time.Time
	RecordedBy  string
}

// Net is what the weighing adds to its lot, grams.
func (p Pick) Net() int64 { return p.Gross - p.Tare }

// AddPicks writes weighings. Their lots are there.
func AddPicks(ctx context.Context, db pg.DB, picks []Pick) error {
	const sql = `
		INSERT INTO pick (pick_id, pick_lot_id, gross_grams, tare_grams, crates, picker, break_number, recorded_at, recorded_by)
		SELECT * FROM unnest($1::uuid[], $2::text[], $3::bigint[], $4::bigint[], $5::int[], $6::text[], $7::int[], $8::timestamptz[], $9::text[])`
	_, err := db.Exec(ctx, sql,
		column(picks, func(p Pick) string { return p.ID }),
		column(picks, func(p Pick) string { return p.LotID }),
		column(picks, func(p Pick) int64 { return p.Gross }),
		column(picks, func(p Pick) int64 { return p.Tare }),
		column(picks, func(p Pick) int32 { return p.Crates }),
		column(picks, func(p Pick) string { return p.Picker }),
		column(picks, func(p Pick) *int32 { return p.Break }),
		column(picks, func(p Pick) time.Time { return p.RecordedAt }),
		column(picks, func(p Pick) string { return p.RecordedBy }))
	return wrap("add picks", err)
}
