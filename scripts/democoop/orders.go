package main

import (
	"math/rand/v2"
	"slices"
	"time"
)

// wanted is how much of each product the kitchens order for the demonstration day, in per
// mille of what is offered; packs is for what nobody offers.
type wanted struct {
	product         string
	perMille, packs int
	// takers is how many kitchens order it, low the most of class 3 among them: where few of
	// them stand behind a shortage, higher classes take all.
	takers, low int
}

var wants = []wanted{
	{"white-closed-1500g", 1050, 0, 18, 8},
	{"white-closed-250g", 900, 0, 11, 8},
	{"white-veiled-1500g", 930, 0, 14, 8},
	{"white-open-2kg", 800, 0, 9, 8},
	{"brown-closed-1500g", 1110, 0, 14, 1},
	{"brown-veiled-1500g", 940, 0, 12, 8},
	{"brown-open-2kg", 0, 4, 2, 0},
	{"oyster-1kg", 1060, 0, 10, 8},
	{"oyster-250g", 850, 0, 8, 8},
	{"shiitake-1kg", 970, 0, 8, 8},
	{"shiitake-200g", 880, 0, 7, 8},
	{"lions-mane-500g", 0, 7, 4, 0},
}

// writeOrders writes orders.csv: the demonstration day's orders against what is offered, and
// the same kitchens' earlier orders, up and down with the days of the week. Nothing is
// delivered on Sundays. It returns the packs that each kitchen usually orders, by product.
func writeOrders(files map[string]*file, offered map[string]int, chance *rand.Rand) []map[string]int {
	f := newFile("order_id,customer_id,delivery_date,product_id,packs,smallest_packs")
	usual := make([]map[string]int, len(kitchens)) // packs by product, for each kitchen
	for i := range usual {
		usual[i] = make(map[string]int)
	}
	for _, w := range wants {
		packs := w.packs
		if w.perMille > 0 {
			packs = offered[w.product] * w.perMille / 1000
		}
		for kitchen, share := range spread(packs, takers(w, chance)) {
			usual[kitchen][w.product] = share
		}
	}
	for d := range history {
		t := after(day, d+1-history)
		if t.Weekday() == time.Sunday {
			continue
		}
		for i, k := range kitchens {
			for _, p := range products {
				packs := usual[i][p.id]
				if packs > 0 && !t.Equal(day) {
					packs = onOtherDay(packs, t, chance)
				}
				if packs > 0 {
					f.add(k.id+"-"+compact(t), k.id, date(t), p.id, packs, smallest(packs))
				}
			}
		}
	}
	files["orders.csv"] = f
	return usual
}

// onOtherDay is what a kitchen orders on another day: more before the weekend, now and then
// nothing.
func onOtherDay(packs int, t time.Time, chance *rand.Rand) int {
	factor := map[time.Weekday]int{time.Monday: 70, time.Tuesday: 80, time.Wednesday: 90, time.Thursday: 100, time.Friday: 130, time.Saturday: 120}[t.Weekday()]
	if chance.IntN(8) == 0 {
		return 0
	}
	return (packs*factor*(85+chance.IntN(31)) + 5000) / 10_000
}

// takers picks the kitchens that order a product, by their places in the list.
func takers(w wanted, chance *rand.Rand) []int {
	order := chance.Perm(len(kitchens))
	var out []int
	low := 0
	for _, i := range order {
		if len(out) == w.takers {
			break
		}
		if kitchens[i].class == 3 {
			if low == w.low {
				continue
			}
			low++
		}
		out = append(out, i)
	}
	slices.Sort(out)
	return out
}

// spread shares packs among kitchens by their size, by largest remainder with the earlier
// kitchen first among equals, so that the parts add up.
func spread(packs int, among []int) map[int]int {
	total := 0
	for _, i := range among {
		total += kitchens[i].size
	}
	out := make(map[int]int)
	left := packs
	for _, i := range among {
		out[i] = packs * kitchens[i].size / total
		left -= out[i]
	}
	byRemainder := slices.Clone(among)
	slices.SortStableFunc(byRemainder, func(a, b int) int {
		return packs*kitchens[b].size%total - packs*kitchens[a].size%total
	})
	for _, i := range byRemainder[:left] {
		out[i]++
	}
	return out
}
