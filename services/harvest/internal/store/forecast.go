package store

import (
	"context"

	"github.com/jackc/pgx/v5"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/platform/pg"
)

// LotGrams is what is known of one pick lot's weight: what was picked, and what
// is expected where nothing was.
type LotGrams struct {
	CropID, ProductID string
	Day               day.Date
	Picks, Net        int64
	Expected          int64 // likely grams that a grower pushed; 0 for none
}

// GramsOfCrops returns the lots of the crops, by day and code.
func GramsOfCrops(ctx context.Context, db pg.DB, crops []string) ([]LotGrams, error) {
	const sql = `
		SELECT l.crop_id, l.product_id, l.date, l.picks, l.net_grams, CASE WHEN e.stand_in THEN 0 ELSE coalesce(e.likely_grams, 0) END
		FROM pick_lot l LEFT JOIN expected_pick e USING (coop_id, pick_lot_id)
		WHERE l.crop_id = ANY($1) ORDER BY l.date, l.pick_lot_id`
	list, err := collect(ctx, db, func(row pgx.CollectableRow) (g LotGrams, err error) {
		err = row.Scan(&g.CropID, &g.ProductID, dayInto{&g.Day}, &g.Picks, &g.Net, &g.Expected)
		return g, err
	}, sql, crops)
	return list, wrap("read the weights of crops", err)
}
