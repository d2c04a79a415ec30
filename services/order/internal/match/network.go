package match

import (
	"slices"

	"breakshare.example/services/order/internal/match/flow"
)

// kind of an arc.
type kind uint8

const (
	gives    kind = iota // lot to its group, or to the one demand that takes it
	reaches              // group to demand
	serves               // demand to want
	keeps                // lot to want, as the match before had it
	unmet                // SHORT to a want, or to the wants of one customer and product
	parts                // from there to the wants
	unsold               // lot to SURPLUS, or to what one farm has left of one product
	leaves               // from there to SURPLUS
	matches              // SHORT to SURPLUS: as many packs as are matched
	allKinds = iota
)

// network is the day as a minimum-cost flow; see the package comment. Its nodes are, in this
// order, lots, wants, demands, groups, customers' and farms' sums, SHORT and SURPLUS.
type network struct {
	sorter
	lots  []Lot // those that have packs, then one without packs for each product that is wanted
	real  int   // number of lots with packs
	wants []want

	from, to []int32
	cap      []int64
	supply   []int64
	kind     []kind
	// lot and want are what the arc belongs to, where there is one; demandOf is the demand at
	// its head, or -1; reluctance and carriage are per pack.
	lot, want, demandOf []int32

	groups         []group
	groupNode      map[group]int32
	direct         map[group]int32 // the one demand of a group that has only one
	first          struct{ wants, demands, groups, sums, short int32 }
	short, surplus int32

	// customers and farms share what is short and left.
	customers, farms []share
	inTurn           bool // what is short is not shared
	// packs on both sides.
	packs int64
	// ends counts, for each kind, the fewer of tails and heads.
	ends [allKinds]int64
}

func (n *network) arc(k kind, from, to int32, packs int64, lot, want, demand int32) {
	n.from, n.to = append(n.from, from), append(n.to, to)
	n.cap, n.kind = append(n.cap, packs), append(n.kind, k)
	n.lot, n.want, n.demandOf = append(n.lot, lot), append(n.want, want), append(n.demandOf, demand)
}

func (n *network) node() int32 {
	n.supply = append(n.supply, 0)
	return int32(len(n.supply) - 1)
}

// build makes the network of a day's free lots and wants.
func build(p *prepared, lots []Lot, wants []want, kept []Sent) *network {
	n := &network{inTurn: p.day.Rules.Short == ShortInTurn, sorter: sortDemands(wants, lots, p.day.ZoneCosts), lots: lots, real: len(lots), wants: wants}
	n.addPhantoms()
	for _, l := range n.lots {
		n.supply[n.node()] = l.Packs
	}
	n.first.wants = int32(len(n.supply))
	for _, w := range n.wants {
		n.supply[n.node()] = -w.Packs
	}
	n.first.demands = int32(len(n.supply))
	for range n.demands {
		n.node()
	}
	n.first.groups = int32(len(n.supply))
	n.addGroups()
	n.first.sums = int32(len(n.supply))
	customers, farms := n.customerSums(p.day.Rules.Short), n.farmSums(p)
	n.short, n.surplus = n.node(), n.node()
	for j, w := range n.wants {
		n.supply[n.short] += w.Packs
		n.arc(serves, n.first.demands+n.of[j], n.first.wants+int32(j), w.Packs, -1, int32(j), n.of[j])
	}
	n.addKept(kept)
	n.addCustomers(customers)
	n.addFarms(farms)
	for _, l := range n.lots {
		n.supply[n.surplus] -= l.Packs
	}
	n.arc(matches, n.short, n.surplus, n.supply[n.short], -1, -1, -1)
	n.packs = packsOf(n.lots, n.wants)
	n.countEnds()
	return n
}

// addPhantoms adds, for each product that somebody takes, a lot without packs: what a pack in it
// would be worth is the price of the product.
func (n *network) addPhantoms() {
	products := make([]string, 0, len(n.by))
	for product := range n.by {
		products = append(products, product)
	}
	slices.Sort(products)
	n.lots = n.lots[:n.real:n.real]
	for _, product := range products {
		n.lots = append(n.lots, Lot{Product: product})
	}
}

// addGroups makes the groups and the arcs from lots through them to demands.
func (n *network) addGroups() {
	n.groupNode, n.direct = make(map[group]int32), make(map[group]int32)
	for i, l := range n.lots {
		g := n.groupOf(l)
		node, known := n.groupNode[g]
		one, alone := n.direct[g]
		if !known && !alone {
			node, one, alone = n.addGroup(g)
		}
		packs := max(l.Packs, 1) // of a lot without packs, room for the one that it might have
		switch {
		case alone && one >= 0:
			n.arc(gives, int32(i), n.first.demands+one, packs, int32(i), -1, one)
		case !alone:
			n.arc(gives, int32(i), node, packs, int32(i), -1, -1)
		}
	}
}

// addGroup makes a node for a group that several demands take; of one demand, or none, it says
// which.
func (n *network) addGroup(g group) (node, one int32, alone bool) {
	var takers []int32
	for _, d := range n.by[g.product] {
		if n.demands[d].allows(g.farm, g.lot) {
			takers = append(takers, d)
		}
	}
	if len(takers) < 2 {
		one = -1
		if len(takers) == 1 {
			one = takers[0]
		}
		n.direct[g] = one
		return 0, one, true
	}
	node = n.node()
	n.groupNode[g] = node
	n.groups = append(n.groups, g)
	for _, d := range takers {
		n.arc(reaches, node, n.first.demands+d, flow.Unlimited, -1, -1, d)
	}
	return node, 0, false
}

// addKept adds an arc for each pair of the match before that may still be.
func (n *network) addKept(kept []Sent) {
	if len(kept) == 0 {
		return
	}
	lots := make(map[string]int32, n.real)
	for i, l := range n.lots[:n.real] {
		lots[l.ID] = int32(i)
	}
	wants := make(map[lineKey][]int32, len(n.wants))
	for j, w := range n.wants {
		wants[lineKey{w.Order, w.Product}] = append(wants[lineKey{w.Order, w.Product}], int32(j))
	}
	for _, k := range slices.SortedFunc(slices.Values(kept), bySent) {
		i, known := lots[k.Lot]
		if !known {
			continue
		}
		for _, j := range wants[lineKey{k.Order, k.Product}] {
			d := n.of[j]
			if _, takes := n.demands[d].reluctance(n.lots[i].Product); takes && n.demands[d].allows(n.lots[i].Farm, k.Lot) {
				n.arc(keeps, i, n.first.wants+j, k.Packs, i, j, d)
			}
		}
	}
}

// countEnds counts tails and heads of each kind of arc.
func (n *network) countEnds() {
	for k := range kind(allKinds) {
		tails, heads := make([]bool, len(n.supply)), make([]bool, len(n.supply))
		var t, h int64
		for a, of := range n.kind {
			if of != k {
				continue
			}
			if !tails[n.from[a]] {
				tails[n.from[a]] = true
				t++
			}
			if !heads[n.to[a]] {
				heads[n.to[a]] = true
				h++
			}
		}
		n.ends[k] = min(t, h)
	}
}
