package main

import (
	"cmp"
	"slices"
)

// swapCost says what it costs to send SKU have for an order of SKU want, and whether it may be done at level.
func swapCost(skus []sku, want, have, level int) (int, bool) {
	if want == have {
		return 0, true
	}
	w, h := skus[want], skus[have]
	if level >= 1 && w.species == h.species {
		if h.Grade == "A" {
			return 1500, true // better grade than ordered
		}
		return 4500, true // worse grade than ordered
	}
	if level >= 2 && w.Grade == h.Grade {
		for i, p := range related {
			if (p[0] == w.species && p[1] == h.species) || (p[1] == w.species && p[0] == h.species) {
				return 6000 + 700*i, true
			}
		}
	}
	return 0, false
}

// day makes one delivery day, step by step, from one random stream. The order
// of the steps and of the draws within them is part of the instances.
type day struct {
	*coopJSON
	size    coopSize
	r       *rng
	weights []int         // of the SKUs, for drawing one
	demand  map[place]int // packs ordered per co-op and SKU
	lots    map[place][]int32
}

// place is an SKU at a co-op.
type place struct{ coop, sku int }

func genCoop(size coopSize) (*coopJSON, *net) {
	d := &day{
		coopJSON: &coopJSON{
			Format: "coop-day-v1", Name: "coop-day-" + size.name, Seed: uint64(size.seed),
			PackKG: 3, CostUnit: "mill (0.1 cent) per pack",
		},
		size:   size,
		r:      newRNG(uint64(size.seed), "coop-day-"+size.name),
		demand: map[place]int{},
		lots:   map[place][]int32{},
	}
	d.addSKUs()
	d.addPlaces()
	d.addLines()
	d.addLots()
	d.addArcs()
	return d.coopJSON, coopNet(d.coopJSON)
}

func (d *day) addSKUs() {
	for s := range d.size.species {
		t := speciesTable[s]
		d.SKUs = append(d.SKUs,
			sku{t.name, "A", t.price, t.age, t.weight * 7, s},
			sku{t.name, "B", t.price * 7 / 10, t.age, t.weight * 3, s})
	}
	for _, p := range related {
		if p[0] < d.size.species && p[1] < d.size.species {
			d.Relation = append(d.Relation, p)
		}
	}
	for _, s := range d.SKUs {
		d.weights = append(d.weights, s.weight)
	}
}

// addPlaces sets co-ops on a square grid 55 km apart, each with one hub, farms
// and kitchens around it.
func (d *day) addPlaces() {
	side := isqrt(d.size.coops)
	if side*side < d.size.coops {
		side++
	}
	for c := range d.size.coops {
		x := c%side*550 + d.r.between(-60, 60)
		y := c/side*550 + d.r.between(-60, 60)
		d.Hubs = append(d.Hubs, point{x, y})
	}
	for i := range d.size.farms {
		c := i % d.size.coops
		d.Farms = append(d.Farms, farm{c, d.around(d.Hubs[c], 300)})
	}
	for i := range d.size.restaurants {
		c := i % d.size.coops
		d.Restaurants = append(d.Restaurants, restaurant{c, d.around(d.Hubs[c], 180)})
	}
}

// around draws a point within radius of p.
func (d *day) around(p point, radius int) point {
	for {
		x := d.r.between(-radius, radius)
		y := d.r.between(-radius, radius)
		if x*x+y*y <= radius*radius {
			return point{p.X + x, p.Y + y}
		}
	}
}

func (d *day) addLines() {
	unmet := []int{0, 4000, 7000, 12000, 20000, 36000} // by priority
	for i := range d.size.lines {
		ln := line{Restaurant: i % d.size.restaurants, SKU: d.r.pick(d.weights)}
		if i >= d.size.restaurants {
			ln.Restaurant = d.r.between(0, d.size.restaurants-1)
		}
		ln.Packs = 1 + d.r.pick([]int{26, 24, 16, 11, 8, 5, 4, 3, 1, 1, 1})
		ln.Priority = 1 + d.r.pick([]int{15, 35, 30, 15, 5})
		ln.Subst = d.r.pick([]int{25, 45, 30})
		ln.MaxAge = d.r.pick([]int{10, 40, 50})
		ln.UnmetCost = unmet[ln.Priority] + d.SKUs[ln.SKU].Price/2 + d.r.between(0, 500)
		d.demand[place{d.Restaurants[ln.Restaurant].Coop, ln.SKU}] += ln.Packs
		d.Lines = append(d.Lines, ln)
	}
}

// addLots lets every farm grow a few SKUs. Quantities follow the co-op's
// demand for the SKU, times a scarcity of 70 to 125 %.
func (d *day) addLots() {
	total := map[place]int{}
	share := make([]int, d.size.lots)
	for i := range d.size.lots {
		l := lot{Farm: i % d.size.farms, SKU: d.r.pick(d.weights), AgeDays: d.r.pick([]int{70, 20, 10})}
		price := d.SKUs[l.SKU].Price
		l.UnsoldCost = price*[]int{10, 25, 60}[l.AgeDays]/100 + d.r.between(0, 300)
		share[i] = d.r.between(20, 100)
		total[place{d.Farms[l.Farm].Coop, l.SKU}] += share[i]
		d.Lots = append(d.Lots, l)
	}
	scarcity := map[place]int{}
	for c := range d.size.coops {
		for s := range d.SKUs {
			scarcity[place{c, s}] = d.r.between(70, 125)
		}
	}
	for i := range d.Lots {
		l := &d.Lots[i]
		k := place{d.Farms[l.Farm].Coop, l.SKU}
		l.Packs = max(2, d.demand[k]*scarcity[k]*share[i]/(100*total[k]))
		d.lots[k] = append(d.lots[k], int32(i))
	}
}

// addArcs joins each line to the cheapest 10 to 40 of the lots that may serve
// it, from its own co-op and those whose hubs are within 90 km.
func (d *day) addArcs() {
	near := d.neighbours()
	var offers []offer
	for j, ln := range d.Lines {
		offers = d.offers(offers[:0], ln, near)
		slices.SortFunc(offers, func(a, b offer) int {
			return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(a.lot, b.lot))
		})
		k := d.r.between(10, 40)
		for _, o := range offers[:min(k, len(offers))] {
			d.Arcs.Lot = append(d.Arcs.Lot, o.lot)
			d.Arcs.Line = append(d.Arcs.Line, int32(j))
			d.Arcs.Cost = append(d.Arcs.Cost, o.cost)
		}
	}
}

// neighbours lists for each co-op itself and then the others near it.
func (d *day) neighbours() [][]int {
	near := make([][]int, d.size.coops)
	for c := range near {
		near[c] = []int{c}
		for o := range near {
			if o != c && dist(d.Hubs[c], d.Hubs[o]) <= 900 {
				near[c] = append(near[c], o)
			}
		}
	}
	return near
}

// offer is a lot that may serve a line, and what a pack of it costs there.
type offer struct{ lot, cost int32 }

func (d *day) offers(offers []offer, ln line, near [][]int) []offer {
	kitchen := d.Restaurants[ln.Restaurant]
	last := dist(d.Hubs[kitchen.Coop], kitchen.At)
	for s := range d.SKUs {
		swap, ok := swapCost(d.SKUs, ln.SKU, s, ln.Subst)
		if !ok {
			continue
		}
		for _, c := range near[kitchen.Coop] {
			trunk := 0
			if c != kitchen.Coop { // by way of both hubs, handled once more
				trunk = 1200 + dist(d.Hubs[c], d.Hubs[kitchen.Coop])*6
			}
			for _, i := range d.lots[place{c, s}] {
				l := d.Lots[i]
				if l.AgeDays > ln.MaxAge {
					continue
				}
				first := dist(d.Farms[l.Farm].At, d.Hubs[c])
				cost := 400 + first*8 + trunk + 300 + last*10 + swap + l.AgeDays*d.SKUs[s].AgeCost
				offers = append(offers, offer{i, int32(cost)})
			}
		}
	}
	return offers
}
