package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Turn is one working of a lot. Kind is the TurnKind of the contract, WaterUnit the MassUnit
// in which the water was entered.
type Turn struct {
	LotID      string
	Number     int32 // within the lot, from 1
	Time       time.Time
	Kind       int16
	WaterGrams int64
	WaterUnit  int16
	Note       string
	EnteredBy  string
	EnteredAt  time.Time
}

// Supplement is what a turn put in; the fields are those of RecipePart.
type Supplement struct {
	LotID                     string
	Turn, Number              int32
	Name                      string
	Moisture                  float64
	Nitrogen, Carbon, Ash, CN *float64
	PriceMinorPerTonne        int64
	Gypsum                    bool
	Grams                     int64
	Unit                      int16
}

// Turns returns the log of a lot by time and number.
func Turns(ctx context.Context, db pg.DB, lotID string) ([]Turn, error) {
	return collect[Turn](ctx, db, "read turns", `SELECT lot_id, number, time, kind, water_grams, water_unit, note, entered_by, entered_at
		FROM lot_turn WHERE lot_id = $1 ORDER BY time, number`, lotID)
}

const supplementColumns = `lot_id, turn, number, name, moisture, nitrogen, carbon, ash, cn, price_minor_per_tonne, gypsum, grams, unit`

// Supplements returns what the turns of a lot put in, by turn and number.
func Supplements(ctx context.Context, db pg.DB, lotID string) ([]Supplement, error) {
	return collect[Supplement](ctx, db, "read supplements",
		`SELECT `+supplementColumns+` FROM lot_supplement WHERE lot_id = $1 ORDER BY turn, number`, lotID)
}

// InsertTurn adds a turn with what it put in.
func InsertTurn(ctx context.Context, tx pgx.Tx, t Turn, put []Supplement) error {
	const sql = `INSERT INTO lot_turn (lot_id, number, time, kind, water_grams, water_unit, note, entered_by, entered_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`
	err := each(ctx, tx, "insert turn", sql, []Turn{t}, func(t Turn) []any {
		return []any{t.LotID, t.Number, t.Time, t.Kind, t.WaterGrams, t.WaterUnit, t.Note, t.EnteredBy, t.EnteredAt}
	})
	if err != nil {
		return err
	}
	const part = `INSERT INTO lot_supplement (` + supplementColumns + `) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)`
	return each(ctx, tx, "insert supplements", part, put, func(p Supplement) []any {
		return []any{p.LotID, p.Turn, p.Number, p.Name, p.Moisture, p.Nitrogen, p.Carbon, p.Ash, p.CN, p.PriceMinorPerTonne, p.Gypsum, p.Grams, p.Unit}
	})
}

// Sample is a lot weighed and sampled.
type Sample struct {
	LotID              string
	Time               time.Time
	Grams              int64
	Unit               int16 // the MassUnit in which it was entered
	Moisture, Nitrogen float64
	Note               string
	EnteredBy          string
	EnteredAt          time.Time
}

const sampleColumns = `lot_id, time, grams, unit, moisture, nitrogen, note, entered_by, entered_at`

// Samples returns the samples of a lot by time.
func Samples(ctx context.Context, db pg.DB, lotID string) ([]Sample, error) {
	return collect[Sample](ctx, db, "read samples", `SELECT `+sampleColumns+` FROM heap_sample WHERE lot_id = $1 ORDER BY time`, lotID)
}

// SaveSample adds a sample, or replaces the one of the same moment.
func SaveSample(ctx context.Context, tx pgx.Tx, s Sample) error {
	const sql = `INSERT INTO heap_sample (` + sampleColumns + `) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
		ON CONFLICT (coop_id, lot_id, time) DO UPDATE SET grams = excluded.grams, unit = excluded.unit, moisture = excluded.moisture,
			nitrogen = excluded.nitrogen, note = excluded.note, entered_by = excluded.entered_by, entered_at = excluded.entered_at`
	return each(ctx, tx, "save sample", sql, []Sample{s}, func(s Sample) []any {
		return []any{s.LotID, s.Time, s.Grams, s.Unit, s.Moisture, s.Nitrogen, s.Note, s.EnteredBy, s.EnteredAt}
	})
}

// decisionRow is a Decision as the table has it.
type decisionRow struct {
	LotID     string
	Version   int64
	Kind, By  string
	At        time.Time
	Reason    string
	Unproven  []string
	EnteredBy string
	EnteredAt time.Time
}

// Decisions returns every decision on a lot, oldest first.
func Decisions(ctx context.Context, db pg.DB, lotID string) ([]Decision, error) {
	rows, err := collect[decisionRow](ctx, db, "read decisions",
		`SELECT lot_id, version, kind, decided_by, decided_at, COALESCE(reason, ''), unproven, entered_by, entered_at
		FROM lot_decision WHERE lot_id = $1 ORDER BY version`, lotID)
	out := make([]Decision, len(rows))
	for i, d := range rows {
		out[i] = Decision{
			LotID: d.LotID, Version: d.Version, Kind: d.Kind, By: d.By, At: d.At, Reason: d.Reason, Unproven: d.Unproven,
			Entered: Change{Version: d.Version, By: d.EnteredBy, At: d.EnteredAt},
		}
	}
	return out, err
}
