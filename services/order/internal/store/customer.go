package store

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/platform/pg"
)

// Customer is one row of customer.
type Customer struct {
	ID, Name, Place string
	Class           int32
	// Wishes is an object in JSON.
	Wishes string
	Change
}

const selectCustomers = `
	SELECT customer_id, name, place, priority_class, wishes, version, changed_by, changed_at
	FROM customer`

// Customers returns all customers by id.
func Customers(ctx context.Context, db pg.DB) ([]Customer, error) {
	return collect[Customer](ctx, db, "customers", selectCustomers+` ORDER BY customer_id`)
}

// CustomersByID returns those of the ids that exist.
func CustomersByID(ctx context.Context, db pg.DB, ids []string) (map[string]Customer, error) {
	all, err := collect[Customer](ctx, db, "customers", selectCustomers+` WHERE customer_id = ANY($1)`, ids)
	return keyed(all, func(c Customer) string { return c.ID }), err
}

// SaveCustomers creates or replaces the rows; the caller has settled what they are to be.
func SaveCustomers(ctx context.Context, tx pgx.Tx, all []Customer) error {
	const sql = `
		INSERT INTO customer (customer_id, name, place, priority_class, wishes, version, changed_by, changed_at)
		SELECT * FROM unnest($1::text[], $2::text[], $3::text[], $4::integer[], $5::text[], $6::bigint[], $7::text[], $8::timestamptz[])
		ON CONFLICT (coop_id, customer_id) DO UPDATE SET
			name = EXCLUDED.name, place = EXCLUDED.place, priority_class = EXCLUDED.priority_class, wishes = EXCLUDED.wishes,
			version = EXCLUDED.version, changed_by = EXCLUDED.changed_by, changed_at = EXCLUDED.changed_at`
	_, err := change(ctx, tx, "customers", sql,
		column(all, func(c Customer) string { return c.ID }), column(all, func(c Customer) string { return c.Name }),
		column(all, func(c Customer) string { return c.Place }), column(all, func(c Customer) int32 { return c.Class }),
		column(all, func(c Customer) string { return c.Wishes }),
		column(all, func(c Customer) int64 { return c.Version }), column(all, func(c Customer) string { return c.By }),
		column(all, func(c Customer) time.Time { return c.At }))
	return err
}

// keyed makes a map of rows.
func keyed[K comparable, T any](all []T, key func(T) K) map[K]T {
	m := make(map[K]T, len(all))
	for _, each := range all {
		m[key(each)] = each
	}
	return m
}
