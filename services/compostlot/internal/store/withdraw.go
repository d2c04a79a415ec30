package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// SharesOf returns all parts of the shares that a slot gives to, by request and slot.
func SharesOf(ctx context.Context, tx pgx.Tx, slotID string) ([]ShareSlot, error) {
	const sql = `SELECT p.round_id, p.compost_request_id, p.slot_id, p.granted_kg
		FROM share_slot p JOIN share_slot of ON of.round_id = p.round_id AND of.compost_request_id = p.compost_request_id
		WHERE of.slot_id = $1 ORDER BY p.compost_request_id, p.slot_id`
	return collect[ShareSlot](ctx, tx, "shares of a slot", sql, slotID)
}

// LockSlots returns those of the slots that exist, with the rows held.
func LockSlots(ctx context.Context, tx pgx.Tx, slotIDs []string) (map[string]Slot, error) {
	return byID(ctx, tx, "lock slots", func(s Slot) string { return s.ID },
		`SELECT `+readSlot+` FROM slot WHERE slot_id = ANY($1) ORDER BY slot_id FOR UPDATE`, slotIDs)
}

// LotsOf returns the lots made for a slot.
func LotsOf(ctx context.Context, tx pgx.Tx, slotID string) ([]Lot, error) {
	return collect[Lot](ctx, tx, "lots of a slot", readLots+` WHERE slot_id = $1 ORDER BY lot_id`, slotID)
}

// WithdrawSlot marks a slot as withdrawn.
func WithdrawSlot(ctx context.Context, tx pgx.Tx, s Slot) error {
	const sql = `UPDATE slot SET state = 'withdrawn', free_kg = 0, version = $2, withdrawal_notice = $3, withdrawn_by = $4, withdrawn_at = $5 WHERE slot_id = $1`
	_, err := tx.Exec(ctx, sql, s.ID, s.Version, s.Notice, s.WithdrawnBy, s.WithdrawnAt)
	if err != nil {
		return fmt.Errorf("withdraw slot %s: %w", s.ID, err)
	}
	return nil
}

// GiveBack puts kilograms back into slots that are not withdrawn.
func GiveBack(ctx context.Context, tx pgx.Tx, back []Taken) error {
	const sql = `UPDATE slot SET free_kg = free_kg + $2, version = version + 1 WHERE slot_id = $1`
	return each(ctx, tx, "give back to slots", sql, back, func(t Taken) []any { return []any{t.SlotID, t.Kg} })
}

// Undone is a share that a withdrawn slot undid.
type Undone struct {
	RoundID, RequestID string
	HadKg              int64
	Explanation        string
}

// UndoShares takes shares back, and lets their requests wait again.
func UndoShares(ctx context.Context, tx pgx.Tx, undone []Undone, by string, at time.Time) error {
	err := each(ctx, tx, "undo parts of shares", `DELETE FROM share_slot WHERE round_id = $1 AND compost_request_id = $2`, undone,
		func(u Undone) []any { return []any{u.RoundID, u.RequestID} })
	if err != nil {
		return err
	}
	const share = `UPDATE share SET granted_kg = 0, had_kg = $3, limited_by = 'slot_withdrawn', explanation = $4
		WHERE round_id = $1 AND compost_request_id = $2`
	err = each(ctx, tx, "undo shares", share, undone, func(u Undone) []any { return []any{u.RoundID, u.RequestID, u.HadKg, u.Explanation} })
	if err != nil {
		return err
	}
	const request = `UPDATE compost_request SET round_id = NULL, version = version + 1, changed_by = $2, changed_at = $3 WHERE compost_request_id = $1`
	return each(ctx, tx, "let requests wait again", request, undone, func(u Undone) []any { return []any{u.RequestID, by, at} })
}
