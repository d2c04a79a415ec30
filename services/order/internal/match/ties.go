package match

import (
	"hash/fnv"
	"slices"
	"strconv"
)

// ties goes by customer, order and product, and by lot code, of those that have packs.
func (n *network) ties(r *rest, cost []int64) {
	wants := countdown(len(n.wants), func(j int) bool { return n.wants[j].Packs > 0 })
	lots := countdown(len(n.lots), func(i int) bool { return n.lots[i].Packs > 0 })
	for i, a := range r.arcs {
		switch n.kind[a] {
		case parts, unmet:
			if n.toWant(a) {
				cost[i] = wants[n.want[a]]
			}
		case unsold:
			cost[i] = lots[n.lot[a]]
		}
	}
}

// toWant says whether the arc leads to a want of its own, and not to the sum of several.
func (n *network) toWant(a int32) bool { return n.to[a] < n.first.demands }

// countdown numbers those that count, the last of them 1.
func countdown(n int, counts func(i int) bool) []int64 {
	numbers, next := make([]int64, n), int64(0)
	for i := n - 1; i >= 0; i-- {
		if counts(i) {
			next++
			numbers[i] = next
		}
	}
	return numbers
}

// chance leaves one best flow where all other aims leave several, so that the match does not
// depend on where the solver began: costs drawn from the names of lots, orders and products. With
// costs drawn at random one flow is best but for a chance of arcs in range (Mulmuley, Vazirani and
// Vazirani, Matching is as easy as matrix inversion, Combinatorica 7, 1987).
func (n *network) chance(r *rest, cost []int64) {
	for i, a := range r.arcs {
		switch n.kind[a] {
		case keeps, unsold:
			cost[i] = n.drawn(a)
		case parts, unmet:
			if n.toWant(a) {
				cost[i] = n.drawn(a)
			}
		case reaches:
			cost[i] = n.drawnPair(n.groups[n.from[a]-n.first.groups], n.demandOf[a])
		case gives:
			if d := n.demandOf[a]; d >= 0 {
				cost[i] = n.drawnPair(n.groupOf(n.lots[n.lot[a]]), d)
			}
		}
	}
}

// drawnPair is the draw of what goes from a group to a demand.
func (n *network) drawnPair(g group, d int32) int64 {
	carry := ""
	if g.carry.Known {
		carry = strconv.FormatInt(g.carry.Milli, 10)
	}
	return draw(g.product, g.farm, carry, g.lot, n.demands[d].key())
}

// drawn is the draw of what an arc belongs to.
func (n *network) drawn(a int32) int64 {
	var lot, order, product, part string
	if i := n.lot[a]; i >= 0 {
		lot = n.lots[i].ID
	}
	if j := n.want[a]; j >= 0 {
		w := n.wants[j]
		order, product, part = w.Order, w.Product, w.onlyLot
		if w.must {
			part += "!" + w.OnlyFrom
		}
	}
	return draw(lot, order, product, part)
}

// drawnBits is how many bits a draw has.
const drawnBits = 30

// draw turns names into a number: the FNV-1a hash (Fowler, Noll and Vo), its halves folded.
func draw(names ...string) int64 {
	h := fnv.New64a()
	for _, name := range names {
		// A hash never refuses what is written to it.
		_, _ = h.Write([]byte(name))
		_, _ = h.Write([]byte{0})
	}
	sum := h.Sum64()
	return int64((sum ^ sum>>32) & (1<<drawnBits - 1))
}

// ranks gives each of n things the place of its key among the keys under compare; equals have the
// same.
func ranks[K comparable](n int, key func(i int) K, compare func(a, b K) int) []int64 {
	number := make(map[K]int64)
	var keys []K
	all := make([]int64, n)
	for i := range n {
		k := key(i)
		at, known := number[k]
		if !known {
			at = int64(len(keys))
			number[k], keys = at, append(keys, k)
		}
		all[i] = at
	}
	rank := make([]int64, len(keys))
	var before K
	last := int64(0)
	for i, k := range slices.SortedFunc(slices.Values(keys), compare) {
		if i > 0 && compare(before, k) != 0 {
			last++
		}
		rank[number[k]], before = last, k
	}
	for i, at := range all {
		all[i] = rank[at]
	}
	return all
}
