package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Part is a part of a weighing of one stage and grade.
type Part struct {
	Stage, Grade string // empty where not sorted by it
	Grams        int64
}

// Pick is one weighing.
type Pick struct {
	ID, LotID        string
	Gross, Tare      int64 // grams; both 0 for one that withdraws another
	Crates           int32
	Picker           string // empty where not noted
	Break            *int32 // nil where not known
	BreakProposed    bool   // by the curve
	StoreID          string // empty where not noted
	Parts            []Part
	CorrectsID       *string // nil for a first one
	CorrectionReason string
	RecordedAt       time.Time
	RecordedBy       string
}

// Net is what the weighing adds to its lot, grams.
func (p Pick) Net() int64 { return p.Gross - p.Tare }

// AddPicks writes weighings. Their lots are there.
func AddPicks(ctx context.Context, db pg.DB, picks []Pick) error {
	const sql = `
		INSERT INTO pick (pick_id, pick_lot_id, gross_grams, tare_grams, crates, picker, break_number, recorded_at, recorded_by,
			break_proposed, store_id, parts, corrects_pick_id, correction_reason)
		SELECT a, b, c, d, e, f, g, h, i, j, k, l::jsonb, m, n
		FROM unnest($1::uuid[], $2::text[], $3::bigint[], $4::bigint[], $5::int[], $6::text[], $7::int[], $8::timestamptz[], $9::text[],
			$10::boolean[], $11::text[], $12::text[], $13::uuid[], $14::text[])
			WITH ORDINALITY AS p (a, b, c, d, e, f, g, h, i, j, k, l, m, n, place)
		ORDER BY p.place`
	parts := make([]string, len(picks))
	for i, p := range picks {
		text, err := json.Marshal(append([]Part{}, p.Parts...))
		if err != nil {
			return fmt.Errorf("write the parts of a pick: %w", err)
		}
		parts[i] = string(text)
	}
	_, err := db.Exec(ctx, sql,
		column(picks, func(p Pick) string { return p.ID }),
		column(picks, func(p Pick) string { return p.LotID }),
		column(picks, func(p Pick) int64 { return p.Gross }),
		column(picks, func(p Pick) int64 { return p.Tare }),
		column(picks, func(p Pick) int32 { return p.Crates }),
		column(picks, func(p Pick) string { return p.Picker }),
		column(picks, func(p Pick) *int32 { return p.Break }),
		column(picks, func(p Pick) time.Time { return p.RecordedAt }),
		column(picks, func(p Pick) string { return p.RecordedBy }),
		column(picks, func(p Pick) bool { return p.BreakProposed }),
		column(picks, func(p Pick) string { return p.StoreID }),
		parts,
		column(picks, func(p Pick) *string { return p.CorrectsID }),
		column(picks, func(p Pick) string { return p.CorrectionReason }))
	return wrap("add picks", err)
}

const pickColumns = `pick_id, pick_lot_id, gross_grams, tare_grams, crates, picker, break_number, break_proposed, store_id, parts,
	corrects_pick_id, correction_reason, recorded_at, recorded_by`

func scanPick(row pgx.CollectableRow) (p Pick, err error) {
	err = row.Scan(&p.ID, &p.LotID, &p.Gross, &p.Tare, &p.Crates, &p.Picker, &p.Break, &p.BreakProposed, &p.StoreID, &p.Parts,
		&p.CorrectsID, &p.CorrectionReason, &p.RecordedAt, &p.RecordedBy)
	return p, err
}

// PicksOfLots returns every weighing of the lots in the order of recording.
func PicksOfLots(ctx context.Context, db pg.DB, lotIDs []string) ([]Pick, error) {
	list, err := collect(ctx, db, scanPick, `SELECT `+pickColumns+` FROM pick WHERE pick_lot_id = ANY($1) ORDER BY place`, lotIDs)
	return list, wrap("read the picks of lots", err)
}

// FindPick returns a weighing, and the one that took its place, if any; ok is
// false where there is none with that id.
func FindPick(ctx context.Context, db pg.DB, id string) (p Pick, by string, ok bool, err error) {
	list, err := collect(ctx, db, scanPick, `SELECT `+pickColumns+` FROM pick WHERE pick_id = $1`, id)
	if err != nil || len(list) == 0 {
		return p, "", false, wrap("read pick "+id, err)
	}
	later, err := texts(ctx, db, "correction of pick "+id, `SELECT pick_id::text FROM pick WHERE corrects_pick_id = $1`, id)
	if err != nil || len(later) == 0 {
		return list[0], "", true, err
	}
	return list[0], later[0], true, nil
}
