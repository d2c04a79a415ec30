package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Delivery is what a customer confirmed of an order.
type Delivery struct {
	Order                string
	Dispatched, Received int64
	Remark, By           string
	At                   time.Time
}

// DeliveryOf returns what was confirmed of an order; found is false where nothing was.
func DeliveryOf(ctx context.Context, db pg.DB, order string) (d Delivery, found bool, err error) {
	all, err := collect[Delivery](ctx, db, "delivery", `
		SELECT order_id, dispatched_packs, received_packs, remark, confirmed_by, confirmed_at
		FROM delivery WHERE order_id = $1`, order)
	if err != nil || len(all) == 0 {
		return Delivery{}, false, err
	}
	return all[0], true, nil
}

// SaveDelivery stores what was confirmed of an order and marks its packs.
func SaveDelivery(ctx context.Context, tx pgx.Tx, d Delivery) error {
	if _, err := change(ctx, tx, "delivery", `
		INSERT INTO delivery (order_id, dispatched_packs, received_packs, remark, confirmed_by, confirmed_at)
		VALUES ($1, $2, $3, $4, $5, $6)
		ON CONFLICT (coop_id, order_id) DO UPDATE SET
			dispatched_packs = EXCLUDED.dispatched_packs, received_packs = EXCLUDED.received_packs, remark = EXCLUDED.remark,
			confirmed_by = EXCLUDED.confirmed_by, confirmed_at = EXCLUDED.confirmed_at`,
		d.Order, d.Dispatched, d.Received, d.Remark, d.By, d.At); err != nil {
		return err
	}
	_, err := change(ctx, tx, "packs", `UPDATE pack SET confirmed = true WHERE order_id = $1 AND NOT confirmed`, d.Order)
	return err
}
