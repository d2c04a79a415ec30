package match

import (
	"cmp"
	"slices"

	"breakshare.example/services/order/internal/match/flow"
)

// weights turns the ranks of the aims into the costs of unmet and unsold packs. The digits, from
// the last: tie, carry, age, and class with value.
type weights struct {
	// Carry, Age and Value are what one rank of each aim weighs; one rank of the tie weighs 1.
	Carry, Age, Value int64
	// Largest is above every cost made of them.
	Largest int64
}

// ranked are lots and lines in the order in which they were ranked, with their costs.
type ranked struct {
	lots    []Lot
	lines   []Line
	unsold  []int64 // by lot: what leaving one pack unsold costs
	unmet   []int64 // by line: what leaving one pack unmet costs
	weights weights
}

// worth is what a pack of the line counts for.
func worth(l Line) int64 { return max(1, l.Value) }

// aims compare what is to be met and sold first; the first is the smaller.

func byClassAndValue(a, b Line) int {
	return cmp.Or(cmp.Compare(a.Class, b.Class), cmp.Compare(worth(b), worth(a)))
}

func byCustomer(a, b Line) int {
	return cmp.Or(cmp.Compare(a.Customer, b.Customer), cmp.Compare(a.Order, b.Order), cmp.Compare(a.Product, b.Product))
}

func byAge(a, b Lot) int { return cmp.Compare(a.PickDay, b.PickDay) }

func byCarry(a, b Lot) int {
	if a.Carry.Known != b.Carry.Known {
		if a.Carry.Known {
			return -1
		}
		return 1
	}
	if !a.Carry.Known {
		return 0
	}
	return cmp.Compare(a.Carry.Milli, b.Carry.Milli)
}

func byCode(a, b Lot) int { return cmp.Compare(a.ID, b.ID) }

// rank gives each element its place from the back under less: the last group of equals has 0,
// so that what goes first costs most when it is left. groups is the number of groups.
func rank[T any](all []T, compare func(a, b T) int) (ranks []int64, groups int64) {
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int { return compare(all[j], all[i]) })
	ranks = make([]int64, len(all))
	for at, i := range order {
		if at > 0 && compare(all[order[at-1]], all[i]) != 0 {
			groups++
		}
		ranks[i] = groups
	}
	return ranks, min(groups+1, int64(len(all)))
}

// weigh ranks lots and lines and gives each its cost. It returns a *TooLarge where a cost, the
// cost of all packs, or the price of a node could leave what the solver is exact in.
func weigh(lots []Lot, lines []Line) (ranked, error) {
	r := ranked{lots: lots, lines: lines, unsold: make([]int64, len(lots)), unmet: make([]int64, len(lines))}
	value, values := rank(lines, byClassAndValue)
	lineTie, _ := rank(lines, byCustomer)
	age, ages := rank(lots, byAge)
	carry, carries := rank(lots, byCarry)
	lotTie, _ := rank(lots, byCode)

	var ok [3]bool
	r.weights.Carry = int64(len(lots)+len(lines)) + 1
	r.weights.Age, ok[0] = times(r.weights.Carry, carries+1)
	r.weights.Value, ok[1] = times(r.weights.Age, ages+1)
	r.weights.Largest, ok[2] = times(r.weights.Value, values+2)
	if ok != [3]bool{true, true, true} || !r.fits() {
		return ranked{}, &TooLarge{Lots: len(lots), Lines: len(lines), Packs: packsOf(lots, lines)}
	}
	for i := range lots {
		r.unsold[i] = r.weights.Age*age[i] + r.weights.Carry*carry[i] + lotTie[i]
	}
	for j := range lines {
		r.unmet[j] = r.weights.Value*(value[j]+1) + lineTie[j]
	}
	return r, nil
}

// fits reports whether the cost of all packs stays within 62 bits, and packs and costs within
// the solver's own bounds. There is at most one pool for each lot; a pack is counted in the
// supply of two nodes and the capacity of four arcs at the most.
func (r ranked) fits() bool {
	packs, nodes := packsOf(r.lots, r.lines), int64(2*len(r.lots)+len(r.lines)+4)
	_, cost := times(packs, r.weights.Largest)
	return cost && packs <= flow.MaxVolume/6 && r.weights.Largest <= flow.MaxPathCost/nodes
}

// packsOf is all packs on both sides; check has bounded each.
func packsOf(lots []Lot, lines []Line) int64 {
	const most = int64(1) << 61
	sum := int64(0)
	for _, l := range lots {
		sum = min(most, sum+l.Packs)
	}
	for _, l := range lines {
		sum = min(most, sum+l.Packs)
	}
	return sum
}
