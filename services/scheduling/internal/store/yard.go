package store

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
)

// Slot is what the compost service tells of a batch slot.
type Slot struct {
	ID, YardID         string
	Ready              calendar.Date
	Phase              int16 // 1, 2 or 3
	CapacityKg         int64
	PriceMinorPerTonne int64
	GrantedKg          int64 // granted of it by all rounds; ignored when saved
	ToldAt             time.Time
	Revision           int32 // ignored when saved
	Withdrawn          bool
}

// Grant is what one request got of a slot in one round.
type Grant struct {
	SlotID, RoundID, RequestID string
	Kg                         int64
}

// SaveSlot keeps the slot unless it was told of otherwise later, or withdrawn.
func SaveSlot(ctx context.Context, tx pgx.Tx, coopID string, s Slot) error {
	const sql = `
		INSERT INTO yard_slot AS old (coop_id, slot_id, yard_id, ready_date, phase, capacity_kg, price_minor_per_tonne, told_at, withdrawn, revision)
		VALUES ($1, $2, $3, ` + epoch + ` + $4::integer, $5, $6, $7, $8, $9, 0)
		ON CONFLICT (coop_id, slot_id) DO UPDATE SET
			yard_id = excluded.yard_id, ready_date = excluded.ready_date, phase = excluded.phase,
			capacity_kg = excluded.capacity_kg, price_minor_per_tonne = excluded.price_minor_per_tonne,
			told_at = greatest(old.told_at, excluded.told_at), withdrawn = excluded.withdrawn, revision = old.revision + 1
		WHERE NOT old.withdrawn AND (excluded.withdrawn OR old.told_at < excluded.told_at AND
			(old.yard_id, old.ready_date, old.phase, old.capacity_kg, old.price_minor_per_tonne)
			IS DISTINCT FROM (excluded.yard_id, excluded.ready_date, excluded.phase, excluded.capacity_kg, excluded.price_minor_per_tonne))`
	if _, err := tx.Exec(ctx, sql, coopID, s.ID, s.YardID, s.Ready, s.Phase, s.CapacityKg, s.PriceMinorPerTonne, s.ToldAt, s.Withdrawn); err != nil {
		return fmt.Errorf("keep slot %q: %w", s.ID, err)
	}
	return nil
}

// SaveGrant keeps a grant; told of twice it counts once.
func SaveGrant(ctx context.Context, tx pgx.Tx, coopID string, g Grant) error {
	const sql = `
		INSERT INTO slot_grant (coop_id, slot_id, round_id, request_id, granted_kg) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (coop_id, slot_id, round_id, request_id) DO NOTHING`
	if _, err := tx.Exec(ctx, sql, coopID, g.SlotID, g.RoundID, g.RequestID, g.Kg); err != nil {
		return fmt.Errorf("keep what request %q got of slot %q: %w", g.RequestID, g.SlotID, err)
	}
	return nil
}

// ListSlots reads the slots ready on or after a day, those withdrawn too, by day and
// id; those of one yard where yardID is not empty.
func ListSlots(ctx context.Context, db pg.DB, yardID string, from calendar.Date) ([]Slot, error) {
	const sql = `
		SELECT slot_id, yard_id, ready_date - ` + epoch + `, phase, capacity_kg, price_minor_per_tonne,
			(SELECT coalesce(sum(g.granted_kg), 0)::bigint FROM slot_grant g WHERE g.slot_id = s.slot_id),
			told_at, revision, withdrawn
		FROM yard_slot s WHERE ($1 = '' OR yard_id = $1) AND ready_date >= ` + epoch + ` + $2::integer
		ORDER BY ready_date, slot_id COLLATE "C"`
	rows, err := db.Query(ctx, sql, yardID, from)
	if err != nil {
		return nil, fmt.Errorf("list slots: %w", err)
	}
	slots, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Slot])
	if err != nil {
		return nil, fmt.Errorf("list slots: %w", err)
	}
	return slots, nil
}

// OpenSlots reads the slots ready on or after a day that were not withdrawn, by day
// and id.
func OpenSlots(ctx context.Context, db pg.DB, from calendar.Date) ([]Slot, error) {
	slots, err := ListSlots(ctx, db, "", from)
	return slices.DeleteFunc(slots, func(s Slot) bool { return s.Withdrawn }), err
}

// LockSlots keeps others from planning on the slots ready on or after a day until
// the transaction ends, so that two plans cannot both take what is left.
func LockSlots(ctx context.Context, tx pgx.Tx, from calendar.Date) error {
	const sql = `SELECT slot_id FROM yard_slot WHERE ready_date >= ` + epoch + ` + $1::integer ORDER BY slot_id FOR UPDATE`
	if _, err := tx.Exec(ctx, sql, from); err != nil {
		return fmt.Errorf("lock slots: %w", err)
	}
	return nil
}
