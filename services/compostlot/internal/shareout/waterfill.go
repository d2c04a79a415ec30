package shareout

import (
	"slices"

	"breakshare.example/services/compostlot/internal/shareout/network"
)

// demand is one request as the water-filling sees it: an amount it must get
// whatever its farm's level, and a further amount that counts on the level.
type demand struct {
	farm  int // index into the instance's farms; -1 when nothing more is optional
	must  int64
	may   int64
	slots []int // indices into the instance's slots
}

// filler is one farm as the water-filling sees it.
type filler struct {
	id   int   // of table.farms
	unit int64 // what its level is measured against
	head int64 // what it has already, through forced amounts
	base int64 // what is left to it outside the instance's slots
}

// instance is a set of farms, requests and slots that water-filling treats on
// its own.
type instance struct {
	farms   []filler
	demands []demand
	room    []int64 // of each slot
	rank    int64   // the most that all farms can get beyond what must be
}

// fill is what the exact rule gives one farm beyond its forced amounts:
// num/den kilograms.
type fill struct{ num, den int64 }

// block is a set of farms whose levels bind together. Its fills add up to a
// whole number of kilograms.
type block struct {
	farms []int // of table.farms, ascending
	fills []fill
}

// waterfill shares an instance lexicographically max-min and appends the
// blocks by ascending level.
//
// It is the decomposition of a separable convex problem over a polymatroid
// (H. Groenevelt 1991; S. Fujishige 1980): share the whole rank as if only its
// sum bound; where a maximum flow shows that some farms cannot have that much,
// those farms are a problem of their own and the others another one.
func waterfill(in instance, out []block) []block {
	if len(in.farms) == 0 {
		return out
	}
	p, q := commonLevel(in)
	want := make([]int64, len(in.farms))
	for i, f := range in.farms {
		want[i] = max(0, p*f.unit-q*f.head)
	}
	flow := newFlow(in, want, q)
	var total int64
	for _, w := range want {
		total += w
	}
	for _, d := range in.demands {
		total += d.must * q
	}
	if flow.net.Solve() == total {
		b := block{}
		for i, f := range in.farms {
			b.farms = append(b.farms, f.id)
			b.fills = append(b.fills, fill{num: want[i], den: q})
		}
		return append(out, b)
	}
	low, high := split(in, flow)
	return waterfill(high, waterfill(low, out))
}

// commonLevel is the level p/q at which the farms of an instance together get
// exactly its rank: sum of max(0, level × unit − head) = rank.
func commonLevel(in instance) (p, q int64) {
	order := make([]int, len(in.farms))
	for i := range order {
		order[i] = i
	}
	sortByStart(order, in.farms)
	p, q = in.rank, 0
	for k, i := range order {
		p += in.farms[i].head
		q += in.farms[i].unit
		if k+1 == len(order) {
			break
		}
		next := in.farms[order[k+1]]
		if (Level{p, q}).Compare(Level{next.head, next.unit}) <= 0 {
			break // the next farm stands higher already
		}
	}
	g := gcd(p, q)
	return p / g, q / g
}

// flow is the network of an instance with the node numbers of its parts.
type flow struct {
	net    *network.MaxFlow
	source []int // arc into each farm
	demand int   // node of demand 0; farms start at node 2
	slot   int   // node of slot 0
}

// newFlow builds the network of an instance, every capacity times scale.
func newFlow(in instance, want []int64, scale int64) flow {
	const source, sink = 0, 1
	f := flow{demand: 2 + len(in.farms), slot: 2 + len(in.farms) + len(in.demands)}
	g := network.NewMaxFlow(f.slot+len(in.room), source, sink)
	f.net = g
	for i, w := range want {
		f.source = append(f.source, g.Arc(source, 2+i, w))
		if in.farms[i].base > 0 {
			g.Arc(2+i, sink, in.farms[i].base*scale)
		}
	}
	for d, r := range in.demands {
		if r.must > 0 {
			g.Arc(source, f.demand+d, r.must*scale)
		}
		if r.farm >= 0 && r.may > 0 {
			g.Arc(2+r.farm, f.demand+d, r.may*scale)
		}
		for _, s := range r.slots {
			g.Arc(f.demand+d, f.slot+s, network.Unlimited*4)
		}
	}
	for s, room := range in.room {
		g.Arc(f.slot+s, sink, room*scale)
	}
	return f
}

// split parts an instance along the smallest cut of its unsaturated network.
// The farms on the source side (low) ask more of their slots than those hold;
// their requests that lie across the cut are met in full from the other
// side's slots, so low counts them as base and high as amounts that must be.
func split(in instance, fl flow) (low, high instance) {
	side := fl.net.SourceSide()
	parts := [2]*instance{&high, &low}
	part := func(node int) int {
		if side[node] {
			return 1
		}
		return 0
	}
	place := func(first, n int) []int { // position of each node within its part
		at, count := make([]int, n), [2]int{}
		for i := range n {
			p := part(first + i)
			at[i] = count[p]
			count[p]++
		}
		return at
	}
	farmAt, slotAt := place(2, len(in.farms)), place(fl.slot, len(in.room))
	for i, f := range in.farms {
		p := parts[part(2+i)]
		p.farms = append(p.farms, f)
	}
	for s, room := range in.room {
		p := part(fl.slot + s)
		parts[p].room = append(parts[p].room, room)
		low.rank += room * int64(p)
	}
	for d, r := range in.demands {
		p := part(fl.demand + d)
		kept := demand{farm: -1, must: r.must}
		if r.farm >= 0 {
			switch own := part(2 + r.farm); {
			case own == p:
				kept.farm, kept.may = farmAt[r.farm], r.may
			case own == 1:
				low.farms[farmAt[r.farm]].base += r.may
				kept.must += r.may
			}
		}
		for _, s := range r.slots {
			if part(fl.slot+s) == p {
				kept.slots = append(kept.slots, slotAt[s])
			}
		}
		parts[p].demands = append(parts[p].demands, kept)
		low.rank -= kept.must * int64(p)
	}
	for _, f := range low.farms {
		low.rank += f.base
	}
	high.rank = in.rank - low.rank
	return low, high
}

// sortByStart orders farms by the level they have before anything is shared,
// then by position.
func sortByStart(order []int, farms []filler) {
	slices.SortStableFunc(order, func(a, b int) int {
		return Level{farms[a].head, farms[a].unit}.Compare(Level{farms[b].head, farms[b].unit})
	})
}
