package store

import (
	"context"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/platform/pg"
)

// PickLot is all that was or will be picked of one product in one room on one
// day.
type PickLot struct {
	ID                string
	RoomID, ProductID string
	Day               day.Date
	FarmID            string
	Origin            genealogy.Origin // with a crop, always
	OwnHold           bool             // held by a person, whatever its compost
	OwnReason         string
	HeldBy            string     // the person; empty without OwnHold
	Picks, NetGrams   int64      // weighings that stand, and what they weigh
	Discarded         int64      // grams thrown away of it
	StoreID           string     // where its newest weighing went; empty where not noted
	PickedAt          *time.Time // of its first weighing; nil before
	StoreTenths       *int       // how warm its store was when last told of, tenths of a °C; nil where unknown
	KeepsUntil        *day.Date  // the last day on which it keeps, as last told; nil where nobody can say
	Version           int64
}

// Left is what was picked less what was discarded, grams.
func (l PickLot) Left() int64 { return l.NetGrams - l.Discarded }

// Held reports whether the lot may not be sold.
func (l PickLot) Held() bool { return l.OwnHold || l.Origin.Held }

// HoldReason says why the lot is held, its own reason first; empty where it is
// not.
func (l PickLot) HoldReason() string {
	var reasons []string
	for _, r := range []string{l.OwnReason, l.Origin.Reason} {
		if r != "" {
			reasons = append(reasons, r)
		}
	}
	return strings.Join(reasons, "; ")
}

// lotColumns in the order of scanLot.
const lotColumns = `pick_lot_id, room_id, product_id, date, farm_id, crop_id, compost_lot_ids, compost_held,
	compost_reason, compost_exception, held, hold_reason, held_by, picks, net_grams, discarded_grams, store_id, picked_at,
	store_tenths_c, keeps_until, version`

func scanLot(row pgx.CollectableRow) (l PickLot, err error) {
	err = row.Scan(l.into()...)
	return l, err
}

// into are where the columns of a lot go.
func (l *PickLot) into() []any {
	o := &l.Origin
	return []any{&l.ID, &l.RoomID, &l.ProductID, dayInto{&l.Day}, &l.FarmID, &o.CropID, &o.CompostIDs, &o.Held,
		&o.Reason, &o.Exception, &l.OwnHold, &l.OwnReason, &l.HeldBy, &l.Picks, &l.NetGrams, &l.Discarded, &l.StoreID, &l.PickedAt,
		&l.StoreTenths, nullDayInto{&l.KeepsUntil}, &l.Version}
}

// Opened are lots that stand and are locked, by code.
type Opened struct {
	New      map[string]bool // those that were not there before
	Lots     map[string]PickLot
	Expected map[string]Expected // the newest figures of those that have any
}

// OpenLots writes those of the lots that are not there yet; lots that are there
// stay as they are. It keeps others from changing any of them until the
// transaction ends. A new lot of a room whose lots an open incident holds is
// held from the start.
func OpenLots(ctx context.Context, tx pgx.Tx, lots []PickLot) (o Opened, err error) {
	const sql = `
		INSERT INTO pick_lot (pick_lot_id, room_id, product_id, date, farm_id, crop_id,
			compost_lot_ids, compost_held, compost_reason, compost_exception, held, hold_reason, held_by)
		SELECT l.id, l.room, l.product, l.date, l.farm, l.crop, string_to_array(l.compost, ','), l.held, l.reason, l.exception,
			i.pest IS NOT NULL, coalesce(i.pest || ' in the room', ''), coalesce(i.reported_by, '')
		FROM unnest($1::text[], $2::text[], $3::text[], $4::date[], $5::text[], $6::text[],
			$7::text[], $8::boolean[], $9::text[], $10::text[])
			AS l (id, room, product, date, farm, crop, compost, held, reason, exception)
			LEFT JOIN LATERAL (
				SELECT pest, reported_by FROM incident WHERE room_id = l.room AND holds AND closed_at IS NULL
				ORDER BY reported_at, incident_id LIMIT 1
			) i ON true
		ORDER BY l.id
		ON CONFLICT DO NOTHING
		RETURNING pick_lot_id`
	codes := column(lots, func(l PickLot) string { return l.ID })
	b := &pgx.Batch{}
	var fresh []string
	queue(b, &fresh, pgx.RowTo[string], sql, codes,
		column(lots, func(l PickLot) string { return l.RoomID }),
		column(lots, func(l PickLot) string { return l.ProductID }),
		times(column(lots, func(l PickLot) day.Date { return l.Day })),
		column(lots, func(l PickLot) string { return l.FarmID }),
		column(lots, func(l PickLot) string { return l.Origin.CropID }),
		// Codes have no commas.
		column(lots, func(l PickLot) string { return strings.Join(l.Origin.CompostIDs, ",") }),
		column(lots, func(l PickLot) bool { return l.Origin.Held }),
		column(lots, func(l PickLot) string { return l.Origin.Reason }),
		column(lots, func(l PickLot) string { return l.Origin.Exception }))
	var list []PickLot
	queue(b, &list, scanLot, lockLots, codes)
	var said []Expected
	queue(b, &said, scanFigures, `SELECT `+figureColumns+` FROM expected_pick e WHERE pick_lot_id = ANY($1)`, codes)
	if err := tx.SendBatch(ctx, b).Close(); err != nil {
		return o, wrap("open pick lots", err)
	}
	o = Opened{New: make(map[string]bool, len(fresh)), Lots: index(list, func(l PickLot) string { return l.ID }), Expected: make(map[string]Expected, len(said))}
	for _, id := range fresh {
		o.New[id] = true
	}
	for _, e := range said {
		l := o.Lots[e.LotID]
		e.RoomID, e.ProductID, e.Day, e.FarmID, e.CropID, e.Held = l.RoomID, l.ProductID, l.Day, l.FarmID, l.Origin.CropID, l.Held()
		o.Expected[e.LotID] = e
	}
	return o, nil
}

const lockLots = `SELECT ` + lotColumns + ` FROM pick_lot WHERE pick_lot_id = ANY($1) ORDER BY pick_lot_id FOR NO KEY UPDATE`

// LockLots returns the lots with these codes, by code, and keeps others from
// changing them until the transaction ends.
func LockLots(ctx context.Context, tx pgx.Tx, ids []string) (map[string]PickLot, error) {
	list, err := collect(ctx, tx, scanLot, lockLots, ids)
	if err != nil {
		return nil, wrap("read pick lots", err)
	}
	return index(list, func(l PickLot) string { return l.ID }), nil
}

// LockLotsOfRooms returns all lots of the rooms in order of their codes, and
// keeps others from changing them until the transaction ends.
func LockLotsOfRooms(ctx context.Context, tx pgx.Tx, rooms []string) ([]PickLot, error) {
	const sql = `SELECT ` + lotColumns + ` FROM pick_lot WHERE room_id = ANY($1) ORDER BY pick_lot_id FOR NO KEY UPDATE`
	list, err := collect(ctx, tx, scanLot, sql, rooms)
	return list, wrap("read the pick lots of rooms", err)
}

// stockDays is how long a lot is taken to be in store at most: longer than any
// mushroom keeps (UC Davis Postharvest).
const stockDays = 21

// LockSaleable returns the lots of a room that are still to be sold on a day:
// those with something left, and those to come. It keeps others from changing
// them until the transaction ends.
func LockSaleable(ctx context.Context, tx pgx.Tx, roomID string, on day.Date) ([]PickLot, error) {
	const sql = `
		SELECT ` + lotColumns + ` FROM pick_lot
		WHERE room_id = $1 AND date >= $2 AND (date >= $3 OR net_grams > discarded_grams)
		ORDER BY pick_lot_id FOR NO KEY UPDATE`
	list, err := collect(ctx, tx, scanLot, sql, roomID, on.Add(-stockDays).Time(), on.Time())
	return list, wrap("read the lots of room "+roomID+" still to be sold", err)
}

// Stock is a lot with what has left of it.
type Stock struct {
	PickLot
	Species    string // of its product; empty where nobody told
	Dispatched int64  // grams
}

// StockOf returns the lots that were picked and have something left, by code;
// those of one farm where farmID is not empty, and of one store where storeID is
// not.
func StockOf(ctx context.Context, db pg.DB, on day.Date, farmID, storeID string) ([]Stock, error) {
	const sql = `
		SELECT ` + lotColumns + `, coalesce((SELECT species FROM product p WHERE p.product_id = l.product_id), ''), d.grams
		FROM pick_lot l CROSS JOIN LATERAL (
			SELECT coalesce(sum(x.packs * p.pack_grams), 0)::bigint AS grams
			FROM lot_dispatch x JOIN product p ON p.product_id = x.product_id
			WHERE x.pick_lot_id = l.pick_lot_id
		) d
		WHERE l.date BETWEEN $1 AND $2 AND l.picks > 0 AND l.net_grams - l.discarded_grams > d.grams
		  AND ($3 = '' OR l.farm_id = $3) AND ($4 = '' OR l.store_id = $4)
		ORDER BY l.pick_lot_id`
	list, err := collect(ctx, db, func(row pgx.CollectableRow) (s Stock, err error) {
		err = row.Scan(append(s.PickLot.into(), &s.Species, &s.Dispatched)...)
		return s, err
	}, sql, on.Add(-stockDays).Time(), on.Time(), farmID, storeID)
	return list, wrap("read the cold stock", err)
}

// SaveDispatch keeps how many packs of a lot left with a dispatch, which never
// changes.
func SaveDispatch(ctx context.Context, db pg.DB, dispatchID, lotID, productID string, packs int64) error {
	const sql = `
		INSERT INTO lot_dispatch (dispatch_id, pick_lot_id, product_id, packs) VALUES ($1, $2, $3, $4)
		ON CONFLICT DO NOTHING`
	_, err := db.Exec(ctx, sql, dispatchID, lotID, productID, packs)
	return wrap("save what left of lot "+lotID, err)
}

// SaveLot writes what can change of a lot: its origin, its own hold, what was
// picked, and its version.
func SaveLot(ctx context.Context, db pg.DB, l PickLot) error {
	const sql = `
		UPDATE pick_lot
		SET crop_id = $2, compost_lot_ids = $3, compost_held = $4, compost_reason = $5, compost_exception = $6,
		    held = $7, hold_reason = $8, held_by = $9, picks = $10, net_grams = $11,
		    discarded_grams = $12, store_id = $13, picked_at = $14, version = $15, store_tenths_c = $16, keeps_until = $17
		WHERE pick_lot_id = $1`
	o := l.Origin
	ids := o.CompostIDs
	if ids == nil {
		ids = []string{}
	}
	_, err := db.Exec(ctx, sql, l.ID, o.CropID, ids, o.Held, o.Reason, o.Exception, l.OwnHold, l.OwnReason, l.HeldBy, l.Picks, l.NetGrams,
		l.Discarded, l.StoreID, l.PickedAt, l.Version, l.StoreTenths, dateOf(l.KeepsUntil))
	return wrap("save pick lot "+l.ID, err)
}

// LotsOfDays returns, by day and code, the lots of a span of days of which
// something was picked or which are held; those of one farm where farmID is not
// empty.
func LotsOfDays(ctx context.Context, db pg.DB, from, to day.Date, farmID string) ([]PickLot, error) {
	const sql = `
		SELECT ` + lotColumns + ` FROM pick_lot
		WHERE date BETWEEN $1 AND $2 AND ($3 = '' OR farm_id = $3) AND (picks > 0 OR held OR compost_held)
		ORDER BY date, pick_lot_id`
	list, err := collect(ctx, db, scanLot, sql, from.Time(), to.Time(), farmID)
	return list, wrap("read the pick lots of a span of days", err)
}

// LotsOfCrops returns all lots of the crops by day and code, those still only
// expected among them.
func LotsOfCrops(ctx context.Context, db pg.DB, crops []string) ([]PickLot, error) {
	const sql = `SELECT ` + lotColumns + ` FROM pick_lot WHERE crop_id = ANY($1) ORDER BY date, pick_lot_id`
	list, err := collect(ctx, db, scanLot, sql, crops)
	return list, wrap("read the pick lots of crops", err)
}

// FindLot returns a lot; ok is false where there is none with that code.
func FindLot(ctx context.Context, db pg.DB, id string) (l PickLot, ok bool, err error) {
	list, err := collect(ctx, db, scanLot, `SELECT `+lotColumns+` FROM pick_lot WHERE pick_lot_id = $1`, id)
	if err != nil || len(list) == 0 {
		return l, false, wrap("read pick lot "+id, err)
	}
	return list[0], true, nil
}
