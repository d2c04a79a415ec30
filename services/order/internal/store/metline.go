package store

import (
	"context"

	"breakshare.example/services/platform/pg"
)

// MetLine is what one order line got in a match. Reason is empty where it is not short.
type MetLine struct {
	Order, Product   string
	Ordered, Matched int64
	Reason           string
}

// MetLines returns the lines of a customer in a match, or of all where none is named.
func MetLines(ctx context.Context, db pg.DB, matchID, customer string) ([]MetLine, error) {
	return collect[MetLine](ctx, db, "match lines", `
		SELECT order_id, product_id, ordered, matched, reason FROM match_line
		WHERE match_id = $1 AND ($2 = '' OR customer_id = $2)`, matchID, customer)
}
