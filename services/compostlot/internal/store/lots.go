package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// States of a lot.
const (
	LotOpen     = "open"
	LotReleased = "released"
	LotHeld     = "held"
)

// Lot is one batch of compost.
type Lot struct {
	ID, YardID, SlotID  string // SlotID is empty where it is made for none
	Phase               int16  // 1, 2 or 3
	StartedDate         time.Time
	MadeKg, RemainingKg int64
	State               string
	ReleasedBy          string
	ReleasedAt          *time.Time
	ExceptionReason     string
	Unproven            []string // criteria that the exception passed over
	HeldBy, HoldReason  string
	RecipeID            string // empty where none is named
	RecipeVersion       int64
	Change
}

const readLots = `SELECT lot_id, yard_id, COALESCE(slot_id, ''), phase, started_date, made_kg, remaining_kg, state,
	COALESCE(released_by, ''), released_at, COALESCE(exception_reason, ''), unproven, COALESCE(held_by, ''), COALESCE(hold_reason, ''),
	COALESCE(recipe_id, ''), COALESCE(recipe_version, 0),
	version, changed_by, changed_at
	FROM lot`

// LockLots returns those of the lots that exist. Whoever records evidence, judges, holds or
// delivers a lot holds its row, so that they come one after the other.
func LockLots(ctx context.Context, tx pgx.Tx, lotIDs []string) (map[string]Lot, error) {
	return byID(ctx, tx, "lock lots", func(l Lot) string { return l.ID },
		readLots+` WHERE lot_id = ANY($1) ORDER BY lot_id FOR UPDATE`, lotIDs)
}

// FindLot returns a lot, if there is one.
func FindLot(ctx context.Context, db pg.DB, lotID string) (Lot, bool, error) {
	rows, err := collect[Lot](ctx, db, "find lot", readLots+` WHERE lot_id = $1`, lotID)
	if err != nil || len(rows) == 0 {
		return Lot{}, false, err
	}
	return rows[0], true, nil
}

// ListLots returns the lots of one yard or (empty) all, newest first, then by id.
func ListLots(ctx context.Context, db pg.DB, yardID string) ([]Lot, error) {
	return collect[Lot](ctx, db, "list lots", readLots+` WHERE $1 = '' OR yard_id = $1 ORDER BY started_date DESC, lot_id`, yardID)
}

// InsertLots adds lots that do not exist.
func InsertLots(ctx context.Context, tx pgx.Tx, lots []Lot) error {
	const sql = `INSERT INTO lot (lot_id, yard_id, slot_id, phase, started_date, made_kg, remaining_kg, state,
			recipe_id, recipe_version, version, changed_by, changed_at)
		VALUES ($1, $2, NULLIF($3, ''), $4, $5, $6, $7, $8, NULLIF($9, ''), NULLIF($10::bigint, 0), $11, $12, $13)`
	return each(ctx, tx, "insert lots", sql, lots, func(l Lot) []any {
		return []any{l.ID, l.YardID, l.SlotID, l.Phase, l.StartedDate, l.MadeKg, l.RemainingKg, l.State,
			l.RecipeID, l.RecipeVersion, l.Version, l.By, l.At}
	})
}

// UpdateLot writes what may change of a lot: its state, its recipe, and what it came to.
func UpdateLot(ctx context.Context, tx pgx.Tx, l Lot) error {
	const sql = `UPDATE lot SET remaining_kg = $2, state = $3, released_by = NULLIF($4, ''), released_at = $5,
		exception_reason = NULLIF($6, ''), unproven = $7, held_by = NULLIF($8, ''), hold_reason = NULLIF($9, ''),
		made_kg = $10, recipe_id = NULLIF($11, ''), recipe_version = NULLIF($12::bigint, 0),
		version = $13, changed_by = $14, changed_at = $15
		WHERE lot_id = $1`
	if l.Unproven == nil {
		l.Unproven = []string{}
	}
	_, err := tx.Exec(ctx, sql, l.ID, l.RemainingKg, l.State, l.ReleasedBy, l.ReleasedAt, l.ExceptionReason, l.Unproven,
		l.HeldBy, l.HoldReason, l.MadeKg, l.RecipeID, l.RecipeVersion, l.Version, l.By, l.At)
	if err != nil {
		return fmt.Errorf("update lot %s: %w", l.ID, err)
	}
	return nil
}

// Kinds of decision.
const (
	DecidedRelease   = "release"
	DecidedException = "exception"
	DecidedHold      = "hold"
)

// Decision is a release or a hold as it was decided; it stays when the lot moves on.
type Decision struct {
	LotID    string
	Version  int64 // of the lot, that the decision made
	Kind     string
	By       string
	At       time.Time
	Reason   string // empty for a release on evidence
	Unproven []string
	Entered  Change // who entered it when
}

// AddDecision adds a decision to the lot's record.
func AddDecision(ctx context.Context, tx pgx.Tx, d Decision) error {
	const sql = `INSERT INTO lot_decision (lot_id, version, kind, decided_by, decided_at, reason, unproven, entered_by, entered_at)
		VALUES ($1, $2, $3, $4, $5, NULLIF($6, ''), $7, $8, $9)`
	if d.Unproven == nil {
		d.Unproven = []string{}
	}
	_, err := tx.Exec(ctx, sql, d.LotID, d.Version, d.Kind, d.By, d.At, d.Reason, d.Unproven, d.Entered.By, d.Entered.At)
	if err != nil {
		return fmt.Errorf("add decision on lot %s: %w", d.LotID, err)
	}
	return nil
}
