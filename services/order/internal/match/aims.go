package match

import (
	"cmp"
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
	cost []int64
	// change bounds by how much one pack around a simple cycle can change the sum.
	change int64
	// shares, where the aim is to share fairly: their steps may have to be refined.
	shares []share
}

// aims are what is to be reached, the first before all others; see the package comment.
func (n *network) aims(p *prepared) []func() (aim, error) {
	var all []func() (aim, error)
	add := func(costs func(cost []int64), shares []share) {
		all = append(all, func() (aim, error) {
			a := aim{cost: make([]int64, len(n.from)), shares: shares}
			costs(a.cost)
			var err error
			a.change, err = n.largestChange(a.cost)
			return a, err
		})
	}
	if n.exact {
		for _, class := range n.classes() {
			add(func(cost []int64) { n.valueOf(class, cost) }, nil)
		}
	} else {
		add(n.rankValues, nil)
	}
	if len(p.day.Kept) > 0 {
		add(n.changes, nil)
	}
	if p.day.Rules.Short != ShortInTurn {
		add(func(cost []int64) { rankSteps(n.customers, cost) }, n.customers)
	}
	add(n.ages, nil)
	if p.day.Rules.Left != LeftByCarry {
		add(func(cost []int64) { rankSteps(n.farms, cost) }, n.farms)
	}
	add(func(cost []int64) { n.carriage(p, cost) }, nil)
	add(n.ties, nil)
	return all
}

// largestChange bounds what a pack around a simple cycle can change. A cycle passes each node
// once and so has at most two arcs at each; of one kind it has no more than twice as many as
// there are tails, or heads, of that kind.
func (n *network) largestChange(cost []int64) (int64, error) {
	var largest [allKinds]int64
	for a, c := range cost {
		k := n.kind[a]
		largest[k] = max(largest[k], c, -c)
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
	for _, w := range n.wants {
		if !slices.Contains(all, w.class()) {
			all = append(all, w.class())
		}
	}
	slices.Sort(all)
	return all
}

// rankValues has the rank of class and value on unmet packs. Where no product is taken with
// reluctance, the packs that can be met together are the bases of a matroid-like set (an
// M-convex one), on which only the order of the values counts and not their size.
func (n *network) rankValues(cost []int64) {
	rank := rankOf(len(n.wants), func(a, b int) int {
		return cmp.Or(cmp.Compare(n.wants[b].class(), n.wants[a].class()), cmp.Compare(worth(n.wants[a].Line), worth(n.wants[b].Line)))
	})
	for a, k := range n.kind {
		if k == unmet {
			cost[a] = rank[n.want[a]] + 1
		}
	}
}

// valueOf has the value of unmet packs of a class, and the reluctance against those it gets
// instead.
func (n *network) valueOf(class int, cost []int64) {
	for a, k := range n.kind {
		switch {
		case k == unmet && n.wants[n.want[a]].class() == class:
			cost[a] = worth(n.wants[n.want[a]].Line)
		case n.demandOf[a] >= 0 && n.demands[n.demandOf[a]].class == class && k != serves:
			cost[a], _ = n.demands[n.demandOf[a]].reluctance(n.productAt(a))
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
func (n *network) changes(cost []int64) {
	for a, k := range n.kind {
		if k == serves {
			cost[a] = 1
		}
	}
}

// ages has the age of unsold packs, by rank.
func (n *network) ages(cost []int64) {
	rank := rankOf(len(n.lots), func(a, b int) int { return cmp.Compare(n.lots[b].PickDay, n.lots[a].PickDay) })
	for a, k := range n.kind {
		if k == unsold {
			cost[a] = rank[n.lot[a]]
		}
	}
}

// carriage has what packs cost to carry: to the hub, or to the zone where that has a cost of its
// own. A farm whose cost is not known counts as dearer than all others.
func (n *network) carriage(p *prepared, cost []int64) {
	dearest := int64(0)
	for _, l := range n.lots[:n.real] {
		dearest = max(dearest, l.Carry.Milli)
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
	for a, k := range n.kind {
		d := n.demandOf[a]
		switch k {
		case gives, keeps:
			l := n.lots[n.lot[a]]
			if cost[a] = hub(l.Farm, l.Carry); d >= 0 {
				cost[a] = away(d, l.Product, l.Farm, l.Carry)
			}
		case reaches:
			g := n.groups[n.from[a]-n.first.groups]
			cost[a] = away(d, g.product, g.farm, g.carry) - hub(g.farm, g.carry)
		}
	}
}

// ties goes by customer, order and product, and by lot code.
func (n *network) ties(cost []int64) {
	for a, k := range n.kind {
		switch {
		case k == parts, k == unmet:
			cost[a] = int64(len(n.wants)) - int64(n.want[a])
		case k == unsold:
			cost[a] = int64(len(n.lots)) - int64(n.lot[a])
		}
	}
}

// rankOf gives each of n things its place under compare; equals have the same.
func rankOf(n int, compare func(a, b int) int) []int64 {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, compare)
	ranks, rank := make([]int64, n), int64(0)
	for at, i := range order {
		if at > 0 && compare(order[at-1], i) != 0 {
			rank++
		}
		ranks[i] = rank
	}
	return ranks
}

// tooLarge says how large the day is.
func (n *network) tooLarge() error {
	return &TooLarge{Lots: n.real, Lines: len(n.wants), Packs: packsOf(n.lots, n.wants)}
}

// packsOf is all packs on both sides; check has bounded each.
func packsOf(lots []Lot, wants []want) int64 {
	const most = int64(1) << 61
	sum := int64(0)
	for _, l := range lots {
		sum = min(most, sum+l.Packs)
	}
	for _, w := range wants {
		sum = min(most, sum+w.Packs)
	}
	return sum
}
