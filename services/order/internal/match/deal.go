package match

import (
	"cmp"
	"slices"
)

// piece is packs of a lot on their way to a demand.
type piece struct {
	lot   int32
	packs int64
}

// deal gives the packs that flow through each demand to its wants, and those that are kept from
// the match before as they were; see the package comment.
func (n *network) deal(flow []int64) []Allocation {
	var all []Allocation
	pieces := make([][]piece, len(n.demands))
	into := make([][]piece, len(n.groups))
	takes := make([][]piece, len(n.demands)) // lot is the want here
	for a, packs := range flow {
		if packs == 0 {
			continue
		}
		switch n.kind[a] {
		case keeps:
			all = append(all, allocate(n.wants[n.want[a]].Line, n.lots[n.lot[a]], packs))
		case gives:
			if d := n.demandOf[a]; d >= 0 {
				pieces[d] = append(pieces[d], piece{n.lot[a], packs})
			} else {
				g := n.to[a] - n.first.groups
				into[g] = append(into[g], piece{n.lot[a], packs})
			}
		case serves:
			takes[n.of[n.want[a]]] = append(takes[n.of[n.want[a]]], piece{n.want[a], packs})
		}
	}
	for _, lots := range into {
		slices.SortFunc(lots, n.byRoom)
	}
	for _, a := range n.reached(flow) {
		g, d := n.from[a]-n.first.groups, n.demandOf[a]
		into[g], pieces[d] = pour(into[g], pieces[d], flow[a])
	}
	for d := range pieces {
		slices.SortFunc(pieces[d], n.byRoom)
		all = n.share(all, pieces[d], takes[d])
	}
	return all
}

// reached are the arcs on which groups give packs, in the order of the first want of the demand
// that has packs: not of the demands, which may have their place from wants that have none.
func (n *network) reached(flow []int64) []int {
	first := make([]int, len(n.demands))
	for j := len(n.wants) - 1; j >= 0; j-- {
		if n.wants[j].Packs > 0 {
			first[n.of[j]] = j
		}
	}
	var arcs []int
	for a, packs := range flow {
		if packs > 0 && n.kind[a] == reaches {
			arcs = append(arcs, a)
		}
	}
	slices.SortStableFunc(arcs, func(a, b int) int { return cmp.Compare(first[n.demandOf[a]], first[n.demandOf[b]]) })
	return arcs
}

// pour moves so many packs from one list to another, in turn.
func pour(from, to []piece, packs int64) (rest, filled []piece) {
	for packs > 0 {
		some := min(packs, from[0].packs)
		to = append(to, piece{from[0].lot, some})
		packs -= some
		if from[0].packs -= some; from[0].packs == 0 {
			from = from[1:]
		}
	}
	return from, to
}

func (n *network) byRoom(a, b piece) int {
	x, y := n.lots[a.lot], n.lots[b.lot]
	return cmp.Or(cmp.Compare(x.Farm, y.Farm), cmp.Compare(x.Room, y.Room), cmp.Compare(x.PickDay, y.PickDay), cmp.Compare(x.ID, y.ID))
}

// share gives the pieces to the wants. Wants that wish for one farm go first, each to a farm
// that has enough; then a want takes the smallest piece that has enough for it, and where none
// has, the largest whole. Each allocation uses up a piece or a want, so that there is always at
// least one fewer than there are of both.
func (n *network) share(all []Allocation, pieces, takes []piece) []Allocation {
	slices.SortStableFunc(takes, func(a, b piece) int {
		if x, y := n.wants[a.lot].OneFarm, n.wants[b.lot].OneFarm; x != y {
			if x {
				return -1
			}
			return 1
		}
		return cmp.Compare(b.packs, a.packs)
	})
	for _, t := range takes {
		want := n.wants[t.lot]
		for t.packs > 0 {
			from := pieces
			if want.OneFarm {
				from = n.enough(pieces, t.packs)
			}
			at := best(from, t.packs)
			some := min(from[at].packs, t.packs)
			lot := from[at].lot
			all = append(all, allocate(want.Line, n.lots[lot], some))
			from[at].packs -= some
			t.packs -= some
		}
	}
	return all
}

// enough is the pieces, by room, of the farm that has the fewest packs of those that suffice;
// all where no farm has enough.
func (n *network) enough(pieces []piece, packs int64) []piece {
	found, fewest := pieces, int64(-1)
	for at := 0; at < len(pieces); {
		end, sum := at, int64(0)
		for ; end < len(pieces) && n.lots[pieces[end].lot].Farm == n.lots[pieces[at].lot].Farm; end++ {
			sum += pieces[end].packs
		}
		if sum >= packs && (fewest < 0 || sum < fewest) {
			found, fewest = pieces[at:end], sum
		}
		at = end
	}
	return found
}

// best is the place of the smallest piece with enough packs, or of the largest.
func best(pieces []piece, packs int64) int {
	enough, largest := -1, 0
	for i, p := range pieces {
		if p.packs >= packs && (enough < 0 || p.packs < pieces[enough].packs) {
			enough = i
		}
		if p.packs > pieces[largest].packs {
			largest = i
		}
	}
	if enough >= 0 {
		return enough
	}
	return largest
}

func byFarm(a, b Allocation) int {
	return cmp.Or(cmp.Compare(a.Farm, b.Farm), cmp.Compare(a.Customer, b.Customer), cmp.Compare(a.Product, b.Product),
		cmp.Compare(a.Lot, b.Lot), cmp.Compare(a.Order, b.Order))
}

// merge sorts allocations and adds up those of the same lot and line.
func merge(all []Allocation) []Allocation {
	slices.SortFunc(all, byFarm)
	merged := all[:0]
	for _, a := range all {
		if last := len(merged) - 1; last >= 0 && byFarm(merged[last], a) == 0 {
			merged[last].Packs += a.Packs
			continue
		}
		merged = append(merged, a)
	}
	return merged
}
