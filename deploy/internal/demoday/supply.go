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

// expectedOffer is how many packs of each product harvest knows of for the day: what is
// expected, or picked, on it, and what is fit of earlier picks.
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
	expected, err := d.Harvest.ListExpectedPicks(ctx, &harvestv1.ListExpectedPicksRequest{FromDate: d.Plan.Day, ToDate: d.Plan.Day})
	if err != nil {
		return nil, err
	}
	for _, e := range expected.GetExpectedPicks() {
		if p := d.names.product[e.GetProductId()]; p != nil && !picked[e.GetPickLotId()] {
			offer[p.GetProductId()] += e.GetLikelyGrams() / p.GetPackGrams()
		}
	}
	return offer, nil
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

// covers reports whether a match had at least the packs that were to be expected.
func covers(match *orderv1.Match, expected map[string]int64) bool {
	offered := make(map[string]int64)
	for _, p := range match.GetProducts() {
		offered[p.GetProductId()] = p.GetOffered()
	}
	for product, packs := range expected {
		if offered[product] < packs {
			return false
		}
	}
	return true
}
