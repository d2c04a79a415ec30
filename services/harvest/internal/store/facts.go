package store

import (
	"context"
	"errors"
	"sync"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/genealogy"
)

// Facts are what others told of some rooms, of what stands and stood in them,
// and of all products. Many may read them at once; nobody changes them.
type Facts struct {
	Coop     Coop
	Rooms    map[string]Room
	Products map[string]Product
	Crops    map[string]Crop // of the rooms, by id
	Book     *genealogy.Book
	most     *sync.Map // of crops, see DayMost
}

// DayMost is growth.Crop.DayMost of a crop, worked out once.
func (f Facts) DayMost(crop string) int64 {
	if m, ok := f.most.Load(crop); ok {
		return m.(int64)
	}
	m := f.Crops[crop].Growing().DayMost()
	f.most.Store(crop, m)
	return m
}

// LockFacts shares the lock of the family tree (see LockTree) and returns how
// often what others told has changed: as long as that count stays, so do Facts.
func LockFacts(ctx context.Context, tx pgx.Tx) (changes int64, err error) {
	b := &pgx.Batch{}
	b.Queue(lockTree(false), genealogyLock)
	b.Queue(`SELECT changes FROM told_changes`).QueryRow(func(row pgx.Row) error {
		if err := row.Scan(&changes); !errors.Is(err, pgx.ErrNoRows) {
			return err
		}
		return nil
	})
	return changes, wrap("lock the family tree", tx.SendBatch(ctx, b).Close())
}

// ReadFacts reads the facts of the rooms in one round trip.
func ReadFacts(ctx context.Context, tx pgx.Tx, rooms []string) (f Facts, err error) {
	const elsewhere = `
		SELECT ` + cropColumns + ` FROM crop
		WHERE crop_id IN (SELECT crop_id FROM compost_delivery WHERE room_id = ANY($1) AND crop_id <> '') AND room_id <> ALL($1)`
	b := &pgx.Batch{}
	b.Queue(coopSQL).QueryRow(func(row pgx.Row) error {
		f.Coop, err = scanCoop(row)
		return err
	})
	var roomList []Room
	queue(b, &roomList, pgx.RowToStructByPos[Room], roomsSQL, rooms)
	var products []Product
	queue(b, &products, pgx.RowToStructByPos[Product], allProductsSQL)
	var crops []Crop
	queue(b, &crops, scanGrowing, cropsOfRoomsSQL, rooms)
	var others []genealogy.Crop
	queue(b, &others, scanCrop, elsewhere, rooms)
	var deliveries []genealogy.Delivery
	queue(b, &deliveries, scanDelivery, deliveriesSQL, rooms)
	var compost []genealogy.Compost
	queue(b, &compost, scanCompost, `SELECT `+compostColumns+` FROM compost_lot WHERE compost_lot_id IN (SELECT compost_lot_id FROM (`+deliveriesSQL+`) d)`, rooms)
	if err := tx.SendBatch(ctx, b).Close(); err != nil {
		return f, wrap("read what was told of rooms", err)
	}
	f.most = &sync.Map{}
	f.Rooms = index(roomList, func(r Room) string { return r.ID })
	f.Products = index(products, func(p Product) string { return p.ID })
	f.Crops = index(crops, func(c Crop) string { return c.ID })
	f.Book = genealogy.New(append(column(crops, func(c Crop) genealogy.Crop { return c.Crop }), others...), deliveries, compost)
	return f, nil
}

// queue adds a query whose rows are to be collected.
func queue[T any](b *pgx.Batch, into *[]T, scan pgx.RowToFunc[T], sql string, args ...any) {
	b.Queue(sql, args...).Query(func(rows pgx.Rows) (err error) {
		*into, err = pgx.CollectRows(rows, scan)
		return err
	})
}
