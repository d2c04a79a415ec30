package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// States of a slot.
const (
	SlotOpen      = "open"
	SlotShared    = "shared"
	SlotWithdrawn = "withdrawn"
)

// Slot is one batch that a yard can make.
type Slot struct {
	ID, YardID         string
	ReadyDate          time.Time
	Phase              int16 // 1, 2 or 3
	CapacityKg         int64
	SmallestLotKg      int64
	PriceMinorPerTonne int64
	RequestCutoff      time.Time
	State              string
	FreeKg             int64 // not yet granted
	Version            int64
	Notice             string // why it was withdrawn; empty where it was not
	WithdrawnBy        string
	WithdrawnAt        *time.Time
}

const slotColumns = `slot_id, yard_id, ready_date, phase, capacity_kg, smallest_lot_kg, price_minor_per_tonne,
	request_cutoff, state, free_kg, version`

const readSlot = slotColumns + `, COALESCE(withdrawal_notice, ''), COALESCE(withdrawn_by, ''), withdrawn_at`

// InsertSlots adds slots that do not exist.
func InsertSlots(ctx context.Context, tx pgx.Tx, slots []Slot) error {
	const sql = `INSERT INTO slot (` + slotColumns + `) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`
	return each(ctx, tx, "insert slots", sql, slots, func(s Slot) []any {
		return []any{s.ID, s.YardID, s.ReadyDate, s.Phase, s.CapacityKg, s.SmallestLotKg, s.PriceMinorPerTonne,
			s.RequestCutoff, s.State, s.FreeKg, s.Version}
	})
}

// Slots returns those of the slots that exist.
func Slots(ctx context.Context, db pg.DB, slotIDs []string) (map[string]Slot, error) {
	return byID(ctx, db, "read slots", func(s Slot) string { return s.ID },
		`SELECT `+readSlot+` FROM slot WHERE slot_id = ANY($1)`, slotIDs)
}

// ListSlots returns the slots ready from one day to another, of one yard or (empty) all,
// by ready date and id.
func ListSlots(ctx context.Context, db pg.DB, from, to time.Time, yardID string) ([]Slot, error) {
	const sql = `SELECT ` + readSlot + ` FROM slot
		WHERE ready_date BETWEEN $1 AND $2 AND ($3 = '' OR yard_id = $3) ORDER BY ready_date, slot_id`
	return collect[Slot](ctx, db, "list slots", sql, from, to, yardID)
}

const slotsToShare = `SELECT ` + readSlot + ` FROM slot
	WHERE ready_date BETWEEN $1 AND $2 AND (state = 'open' OR free_kg > 0)`

// SlotsToShare returns the slots of a span that a round can give out, by ready date and id.
func SlotsToShare(ctx context.Context, db pg.DB, from, to time.Time) ([]Slot, error) {
	return collect[Slot](ctx, db, "slots to share", slotsToShare+` ORDER BY ready_date, slot_id`, from, to)
}

// LockSlotsToShare is SlotsToShare, by id, with the rows held: another round that wants one
// of them waits, and then sees what this one has left.
func LockSlotsToShare(ctx context.Context, tx pgx.Tx, from, to time.Time) ([]Slot, error) {
	return collect[Slot](ctx, tx, "lock slots to share", slotsToShare+` ORDER BY slot_id FOR UPDATE`, from, to)
}

// Taken is what a round takes out of a slot.
type Taken struct {
	SlotID string
	Kg     int64 // 0 or more
}

// TakeFromSlots marks slots as shared and takes from what is free. More than is free fails.
func TakeFromSlots(ctx context.Context, tx pgx.Tx, taken []Taken) error {
	const sql = `UPDATE slot SET state = 'shared', free_kg = free_kg - $2, version = version + 1 WHERE slot_id = $1`
	return each(ctx, tx, "take from slots", sql, taken, func(t Taken) []any { return []any{t.SlotID, t.Kg} })
}
