package match

import (
	"cmp"
	"math"
	"slices"
)

// worth is what a pack of the line counts for.
func worth(l Line) int64 { return max(1, l.Value) }

func byCustomer(a, b Line) int {
	return cmp.Or(cmp.Compare(a.Customer, b.Customer), cmp.Compare(a.Order, b.Order), cmp.Compare(a.Product, b.Product))
}

func byProduct(a, b Instead) int { return cmp.Compare(a.Product, b.Product) }

func byCode(a, b Lot) int { return cmp.Compare(a.ID, b.ID) }

func bySent(a, b Sent) int {
	return cmp.Or(cmp.Compare(a.Order, b.Order), cmp.Compare(a.Product, b.Product), cmp.Compare(a.Lot, b.Lot))
}

// aim is one thing to make as small as can be: the sum of cost times flow.
type aim struct {
	// costs writes what each of the arcs costs in place of the cost that stands there, 0.
	costs func(r *rest, cost []int64)
	// shares, where the aim is to share fairly: their steps may have to be refined.
	shares []share
}

// aims are what is to be reached, the first before all others; see the package comment.
func (n *network) aims(p *prepared) []aim {
	var all []aim
	add := func(costs func(r *rest, cost []int64)) { all = append(all, aim{costs: costs}) }
	fair := func(shares []share, left bool) {
		all = append(all, aim{shares: shares, costs: func(r *rest, cost []int64) { rankSteps(left, r, cost) }})
	}
	if n.exact {
		for _, class := range n.classes() {
			add(func(r *rest, cost []int64) { n.valueOf(class, r, cost) })
		}
	} else {
		add(n.rankValues)
	}
	if len(p.day.Kept) > 0 {
		add(n.changes)
	}
	if p.day.Rules.Short != ShortInTurn {
		fair(n.customers, false)
	}
	add(n.ages)
	if p.day.Rules.Left != LeftByCarry {
		fair(n.farms, true)
	}
	add(func(r *rest, cost []int64) { n.carriage(p, r, cost) })
	add(n.ties)
	add(n.chance)
	return all
}

// largestChange bounds what a pack around a simple cycle of the arcs can change. A cycle passes
// each node once and so has at most two arcs at each; of one kind it has no more than twice as
// many as there are tails, or heads, of that kind.
func (n *network) largestChange(r *rest, cost []int64) (int64, error) {
	var largest [allKinds]int64
	for i, a := range r.arcs {
		k := n.kind[a]
		largest[k] = max(largest[k], cost[i], -cost[i])
	}
	sum, ok := int64(0), true
	for k, most := range largest {
		part, fits := times(most, 2*n.ends[k])
		if !fits {
			ok = false
			break
		}
		sum += part
		ok = ok && sum < 1<<61
	}
	if !ok {
		return 0, n.tooLarge()
	}
	return sum, nil
}

// classes in which something is wanted, the first first.
func (n *network) classes() []int {
	var all []int
	for j := range n.wants {
		if class := n.wants[j].class(); !slices.Contains(all, class) {
			all = append(all, class)
		}
	}
	slices.Sort(all)
	return all
}

// rankValues has the rank of class and value on unmet packs. Where no product is taken with
// reluctance, the packs that can be met together are the bases of a matroid-like set (an
// M-convex one), on which only the order of the values counts and not their size.
func (n *network) rankValues(r *rest, cost []int64) {
	type level struct {
		class int
		worth int64
	}
	rank := ranks(len(n.wants), func(j int) level { return level{n.wants[j].class(), worth(n.wants[j].Line)} }, func(a, b level) int {
		return cmp.Or(cmp.Compare(b.class, a.class), cmp.Compare(a.worth, b.worth))
	})
	for i, a := range r.arcs {
		if n.kind[a] == unmet {
			cost[i] = rank[n.want[a]] + 1
		}
	}
}

// valueOf has the value of unmet packs of a class, and the reluctance against those it gets
// instead.
func (n *network) valueOf(class int, r *rest, cost []int64) {
	for i, a := range r.arcs {
		switch k := n.kind[a]; {
		case k == unmet && n.wants[n.want[a]].class() == class:
			cost[i] = worth(n.wants[n.want[a]].Line)
		case n.demandOf[a] >= 0 && n.demands[n.demandOf[a]].class == class && k != serves:
			cost[i], _ = n.demands[n.demandOf[a]].reluctance(n.productAt(int(a)))
		}
	}
}

// productAt is the product of the packs on an arc into a demand or want.
func (n *network) productAt(a int) string {
	if n.kind[a] == reaches {
		return n.groups[n.from[a]-n.first.groups].product
	}
	return n.lots[n.lot[a]].Product
}

// changes counts packs that go to a want otherwise than before.
func (n *network) changes(r *rest, cost []int64) {
	for i, a := range r.arcs {
		if n.kind[a] == serves {
			cost[i] = 1
		}
	}
}

// ages has the age of unsold packs, by rank among the lots that have packs. Of those picked on one
// day the ones that are known to keep less long are older.
func (n *network) ages(r *rest, cost []int64) {
	type age struct{ day, keeps int }
	rank := ranks(len(n.lots), func(i int) age {
		l := &n.lots[i]
		switch {
		case l.Packs == 0:
			return age{day: math.MinInt} // beyond all others, so that the newest that counts has rank 0
		case l.KeepsUntil == 0:
			return age{l.PickDay, math.MaxInt}
		}
		return age{l.PickDay, l.KeepsUntil}
	}, func(a, b age) int { return cmp.Or(cmp.Compare(b.day, a.day), cmp.Compare(b.keeps, a.keeps)) })
	for i, a := range r.arcs {
		if n.kind[a] == unsold && n.lots[n.lot[a]].Packs > 0 {
			cost[i] = rank[n.lot[a]]
		}
	}
}

// carriage has what packs cost to carry: to the hub, or to the zone where that has a cost of its
// own. A farm whose cost is not known counts as dearer than all others.
func (n *network) carriage(p *prepared, r *rest, cost []int64) {
	dearest := int64(0)
	for _, l := range n.lots[:n.real] {
		if l.Packs > 0 {
			dearest = max(dearest, l.Carry.Milli)
		}
	}
	hub := func(farm string, c Carry) int64 {
		switch {
		case farm == "":
			return 0
		case !c.Known:
			return dearest + 1
		}
		return c.Milli
	}
	away := func(d int32, product, farm string, c Carry) int64 {
		if minor, known := n.zones[n.demands[d].like.Zone][farm]; known {
			return minor * p.products[product].Grams
		}
		return hub(farm, c)
	}
	for i, a := range r.arcs {
		d := n.demandOf[a]
		switch n.kind[a] {
		case gives, keeps:
			l := n.lots[n.lot[a]]
			if cost[i] = hub(l.Farm, l.Carry); d >= 0 {
				cost[i] = away(d, l.Product, l.Farm, l.Carry)
			}
		case reaches:
			g := n.groups[n.from[a]-n.first.groups]
			cost[i] = away(d, g.product, g.farm, g.carry) - hub(g.farm, g.carry)
		}
	}
}

// tooLarge says how large the day is.
func (n *network) tooLarge() error {
	return &TooLarge{Lots: n.real, Lines: len(n.wants), Packs: n.packs}
}

// packsOf is all packs on both sides; check has bounded each.
func packsOf(lots []Lot, wants []want) int64 {
	const most = int64(1) << 61
	sum := int64(0)
	for i := range lots {
		sum = min(most, sum+lots[i].Packs)
	}
	for j := range wants {
		sum = min(most, sum+wants[j].Packs)
	}
	return sum
}
