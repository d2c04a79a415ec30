package demoday

import (
	"context"
	"time"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// names are the words that people know things by, and what a pack of a product is.
type names struct {
	farms, rooms, customers, products map[string]string
	product                           map[string]*orderv1.Product
}

// expectedOffer is how many packs of each product harvest knows of for the day: what is expected on
// it, as it is used, or was picked, and what is fit of earlier picks.
func (d *Day) expectedOffer(ctx context.Context) (map[string]int64, error) {
	const longestShelfLife = 30
	from := d.Plan.date.AddDate(0, 0, -longestShelfLife).Format(time.DateOnly)
	lots, err := d.Harvest.ListPickLots(ctx, &harvestv1.ListPickLotsRequest{FromDate: from, ToDate: d.Plan.Day})
	if err != nil {
		return nil, err
	}
	offer := make(map[string]int64)
	picked := make(map[string]bool)
	for _, l := range lots.GetPickLots() {
		picked[l.GetPickLotId()] = l.GetNetGrams() > 0
		p := d.names.product[l.GetProductId()]
		if p != nil && !l.GetHeld() && d.daysBefore(l.GetDate()) <= int(p.GetShelfLifeDays()) {
			offer[p.GetProductId()] += l.GetNetGrams() / p.GetPackGrams()
		}
	}
	used, err := d.used(ctx)
	if err != nil {
		return nil, err
	}
	expected, err := d.Harvest.ListExpectedPicks(ctx, &harvestv1.ListExpectedPicksRequest{FromDate: d.Plan.Day, ToDate: d.Plan.Day})
	if err != nil {
		return nil, err
	}
	for _, e := range expected.GetExpectedPicks() {
		if p := d.names.product[e.GetProductId()]; p != nil && !picked[e.GetPickLotId()] {
			grams := e.GetLikelyGrams()
			if fused, known := used[e.GetPickLotId()]; known {
				grams = fused
			}
			offer[p.GetProductId()] += max(0, grams) / p.GetPackGrams()
		}
	}
	return offer, nil
}

// used is by pick lot what harvest uses of the day's pushes, grams.
func (d *Day) used(ctx context.Context) (map[string]int64, error) {
	list, err := d.Harvest.ListOutlooks(ctx, &harvestv1.ListOutlooksRequest{FromDate: d.Plan.Day, ToDate: d.Plan.Day})
	if err != nil {
		return nil, err
	}
	used := make(map[string]int64)
	for _, o := range list.GetOutlooks() {
		used[o.GetPickLotId()] = o.GetUsed().GetLikelyGrams()
	}
	return used, nil
}

// daysBefore is how many days before the day of delivery a date is.
func (d *Day) daysBefore(date string) int {
	day, _ := time.Parse(time.DateOnly, d.Plan.Day)
	then, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return 0
	}
	return int(day.Sub(then).Hours()) / 24
}

// likely is by product how many packs a match reckoned with.
func likely(match *orderv1.Match) map[string]int64 {
	packs := make(map[string]int64)
	for _, p := range match.GetProducts() {
		packs[p.GetProductId()] = p.GetLikely()
	}
	return packs
}

// same reports whether as many packs are reckoned with as are to be expected.
func same(likely, expected map[string]int64) bool {
	for _, packs := range []map[string]int64{likely, expected} {
		for product := range packs {
			if likely[product] != expected[product] {
				return false
			}
		}
	}
	return true
}
