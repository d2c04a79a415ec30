package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Round is one confirmed sharing out.
type Round struct {
	ID          string
	Number      int64 // from 1, within the co-op
	SlotIDs     []string
	Exact       bool
	MostKg      int64
	ConfirmedAt time.Time
	ConfirmedBy string
	Rule        string // one of the words of the share settings
	Weights     string
}

// Share is what one request got out of a round. Limit is one of asked_in_full, slots_full,
// no_slot_in_window, below_smallest, slot_withdrawn.
type Share struct {
	RoundID, RequestID, FarmID, RoomID string
	WantedKg, GrantedKg                int64
	Limit, Explanation                 string
}

// ShareSlot is the part of a share that comes from one slot.
type ShareSlot struct {
	RoundID, RequestID, SlotID string
	GrantedKg                  int64
}

// roundLock is what rounds of a co-op and those who ask meet at.
const roundLock = `hashtextextended('compostlot.round ' || current_setting('breakshare.coop'), 0)`

// AwaitRound waits until no round is being reckoned, and keeps the next waiting until the
// transaction ends: a request is in the round or comes after it for everybody to see, never
// between what a round has read and what it gives.
func AwaitRound(ctx context.Context, tx pgx.Tx) error {
	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock_shared(`+roundLock+`)`); err != nil {
		return fmt.Errorf("wait for the round: %w", err)
	}
	return nil
}

// NextRound returns the number of the next round. Until the transaction ends no other gets
// one in this co-op, so that rounds stand one after the other.
func NextRound(ctx context.Context, tx pgx.Tx) (int64, error) {
	const lock = `SELECT pg_advisory_xact_lock(` + roundLock + `)`
	if _, err := tx.Exec(ctx, lock); err != nil {
		return 0, fmt.Errorf("lock rounds: %w", err)
	}
	var last int64
	if err := tx.QueryRow(ctx, `SELECT COALESCE(max(number), 0) FROM round`).Scan(&last); err != nil {
		return 0, fmt.Errorf("last round: %w", err)
	}
	return last + 1, nil
}

// InsertRound adds a round with its shares.
func InsertRound(ctx context.Context, tx pgx.Tx, r Round, shares []Share, parts []ShareSlot) error {
	const sql = `INSERT INTO round (round_id, number, slot_ids, exact, most_kg, confirmed_at, confirmed_by, rule, weights)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`
	if _, err := tx.Exec(ctx, sql, r.ID, r.Number, r.SlotIDs, r.Exact, r.MostKg, r.ConfirmedAt, r.ConfirmedBy, r.Rule, r.Weights); err != nil {
		return fmt.Errorf("insert round: %w", err)
	}
	const share = `INSERT INTO share (round_id, compost_request_id, farm_id, room_id, wanted_kg, granted_kg, limited_by, explanation)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`
	err := each(ctx, tx, "insert shares", share, shares, func(s Share) []any {
		return []any{s.RoundID, s.RequestID, s.FarmID, s.RoomID, s.WantedKg, s.GrantedKg, s.Limit, s.Explanation}
	})
	if err != nil {
		return err
	}
	const part = `INSERT INTO share_slot (round_id, compost_request_id, slot_id, granted_kg) VALUES ($1, $2, $3, $4)`
	return each(ctx, tx, "insert parts of shares", part, parts, func(p ShareSlot) []any {
		return []any{p.RoundID, p.RequestID, p.SlotID, p.GrantedKg}
	})
}

// ListShares returns what the last round that took a request in answered it, by request id,
// for one farm or (empty) all; and the parts by request and ready date.
func ListShares(ctx context.Context, db pg.DB, farmID string) ([]Share, []ShareSlot, error) {
	const shares = `
		SELECT DISTINCT ON (s.compost_request_id)
			s.round_id, s.compost_request_id, s.farm_id, s.room_id, s.wanted_kg, s.granted_kg, s.limited_by, s.explanation
		FROM share s JOIN round r ON r.round_id = s.round_id
		WHERE $1 = '' OR s.farm_id = $1
		ORDER BY s.compost_request_id, r.number DESC`
	out, err := collect[Share](ctx, db, "list shares", shares, farmID)
	if err != nil {
		return nil, nil, err
	}
	const parts = `
		SELECT p.round_id, p.compost_request_id, p.slot_id, p.granted_kg
		FROM share_slot p
		JOIN share s ON s.round_id = p.round_id AND s.compost_request_id = p.compost_request_id
		JOIN slot l ON l.slot_id = p.slot_id
		WHERE $1 = '' OR s.farm_id = $1
		ORDER BY p.compost_request_id, l.ready_date, p.slot_id`
	of, err := collect[ShareSlot](ctx, db, "list parts of shares", parts, farmID)
	return out, of, err
}
