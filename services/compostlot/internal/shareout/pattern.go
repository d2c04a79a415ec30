package shareout

import (
	"cmp"
	"slices"

	"breakshare.example/services/compostlot/internal/shareout/network"
)

// choice is what the search has decided of one indivisible thing.
type choice int8

const (
	open   choice = 1 // gets at least its smallest amount
	free   choice = 0 // not decided: any amount
	closed choice = -1
)

// pattern is a set of decisions, by request and by arc.
type pattern struct{ requests, arcs []choice }

func (p pattern) clone() pattern {
	return pattern{requests: slices.Clone(p.requests), arcs: slices.Clone(p.arcs)}
}

// set decides the thing that a violation is about.
func (p pattern) set(v violation, c choice) {
	if v.arc >= 0 {
		p.arcs[v.arc] = c
	} else {
		p.requests[v.request] = c
	}
}

// plan is a share-out in whole kilograms for one pattern.
type plan struct {
	flow   []int64 // of each arc of the table
	total  int64
	levels []Level // exact, before rounding, ascending
	haul   int64   // kilograms × minor units per tonne
}

// forced is the part of a pattern that is decided in mass: the least of each
// open arc, and what each open request must get beyond that.
type forced struct {
	arc     []int64
	request []int64 // beyond the open arcs
	may     []int64 // what each request may get beyond all forced amounts
	room    []int64 // of each slot, beyond the open arcs
	head    []int64 // of each farm: all forced amounts
}

// force works out the forced amounts; ok is false where they already ask more
// than a request or a slot has.
func (t *table) force(p pattern) (f forced, ok bool) {
	f = forced{
		arc: make([]int64, len(t.arcs)), request: make([]int64, len(t.requests)),
		may: make([]int64, len(t.requests)), room: slices.Clone(t.room), head: make([]int64, len(t.farms)),
	}
	for r := range t.requests {
		if p.requests[r] == closed {
			continue
		}
		var sum int64
		for a := t.first[r]; a < t.first[r+1]; a++ {
			if p.arcs[a] == open {
				f.arc[a] = t.arcs[a].lot
				sum += f.arc[a]
				f.room[t.arcs[a].slot] -= f.arc[a]
			}
		}
		if p.requests[r] == open {
			f.request[r] = max(0, t.least[r]-sum)
		}
		f.may[r] = t.requests[r].AskedKg - sum - f.request[r]
		f.head[t.farmOf[r]] += sum + f.request[r]
		if f.may[r] < 0 {
			return f, false
		}
	}
	for _, room := range f.room {
		if room < 0 {
			return f, false
		}
	}
	return f, true
}

// solve shares the table out under a pattern; ok is false where the pattern
// asks more than there is.
func (t *table) solve(p pattern) (*plan, bool) {
	f, ok := t.force(p)
	if !ok {
		return nil, false
	}
	in := t.instance(p, f)
	rank, ok := measure(in)
	if !ok {
		return nil, false
	}
	in.rank = rank
	blocks := waterfill(in, nil)
	out := t.cheapest(p, f, t.roundOff(in, blocks))
	out.levels = t.levels(blocks, f)
	return out, true
}

func (t *table) instance(p pattern, f forced) instance {
	in := instance{room: f.room}
	for i, fm := range t.farms {
		in.farms = append(in.farms, filler{id: i, unit: fm.unit, head: f.head[i]})
	}
	for r := range t.requests {
		d := demand{farm: t.farmOf[r], must: f.request[r], may: f.may[r]}
		for a := t.first[r]; a < t.first[r+1]; a++ {
			if p.arcs[a] != closed {
				d.slots = append(d.slots, t.arcs[a].slot)
			}
		}
		in.demands = append(in.demands, d)
	}
	return in
}

// measure finds the rank of a whole instance; ok is false where the amounts
// that must be do not fit.
func measure(in instance) (rank int64, ok bool) {
	fl := newFlow(in, make([]int64, len(in.farms)), 1)
	var must int64
	for _, d := range in.demands {
		must += d.must
	}
	if fl.net.Solve() != must {
		return 0, false
	}
	for _, a := range fl.source {
		fl.net.Raise(a, network.Unlimited)
	}
	return fl.net.Solve(), true
}

// roundOff makes the exact fills whole: everybody's fraction is cut off, and
// the kilograms left go, block by block, to the largest fractions for which
// there is a way; of equal fractions to the farm whose id sorts first.
func (t *table) roundOff(in instance, blocks []block) []int64 {
	whole := make([]int64, len(t.farms))
	for _, b := range blocks {
		for i, f := range b.farms {
			whole[f] = b.fills[i].num / b.fills[i].den
		}
	}
	fl := newFlow(in, whole, 1)
	fl.net.Solve() // takes all: less than what fits fits
	for _, b := range blocks {
		var parts int64
		order := make([]int, 0, len(b.farms))
		for i, f := range b.fills {
			parts += f.num % f.den
			if f.num%f.den > 0 {
				order = append(order, i)
			}
		}
		slices.SortStableFunc(order, func(x, y int) int {
			return cmp.Or(cmp.Compare(b.fills[y].num%b.fills[y].den, b.fills[x].num%b.fills[x].den), cmp.Compare(b.farms[x], b.farms[y]))
		})
		left := parts / max(1, b.fills[0].den)
		for _, i := range order {
			if left == 0 {
				break
			}
			arc := fl.source[b.farms[i]]
			fl.net.Raise(arc, 1)
			if fl.net.Solve() == 1 {
				whole[b.farms[i]]++
				left--
			} else {
				fl.net.Raise(arc, -1)
			}
		}
	}
	return whole
}

// levels are the exact levels of all farms, ascending.
func (t *table) levels(blocks []block, f forced) []Level {
	out := make([]Level, 0, len(t.farms))
	for _, b := range blocks {
		for i, fm := range b.farms {
			x := b.fills[i]
			out = append(out, Level{Num: x.num + x.den*f.head[fm], Den: x.den * t.farms[fm].unit})
		}
	}
	slices.SortFunc(out, Level.Compare)
	return out
}

// cheapest carries the farms' whole amounts at the least haul.
func (t *table) cheapest(p pattern, f forced, whole []int64) *plan {
	requests, slots, sink := len(t.farms), len(t.farms)+len(t.requests), len(t.farms)+len(t.requests)+len(t.slots)
	g := network.NewMinCost(sink + 1)
	var sum int64
	for i, w := range whole {
		g.Supply(i, w)
		sum += w
	}
	for r := range t.requests {
		if f.may[r] > 0 {
			g.Arc(t.farmOf[r], requests+r, f.may[r], 0)
		}
		g.Supply(requests+r, f.request[r])
		sum += f.request[r]
	}
	for s, room := range f.room {
		// Per kilogram, any saving of haul outweighs the order of slots.
		g.Arc(slots+s, sink, room, int64(s))
	}
	g.Supply(sink, -sum)
	ids := make([]int, len(t.arcs))
	for a, arc := range t.arcs {
		ids[a] = -1
		if p.arcs[a] != closed && p.requests[arc.request] != closed {
			ids[a] = g.Arc(requests+arc.request, slots+arc.slot, t.requests[arc.request].AskedKg, arc.haul*int64(len(t.slots)))
		}
	}
	if _, err := g.Solve(); err != nil || !g.Optimal() {
		// The amounts come from a flow on this same network.
		panic("shareout: a flow that was found cannot be carried")
	}
	out := &plan{flow: make([]int64, len(t.arcs))}
	for a, id := range ids {
		out.flow[a] = f.arc[a]
		if id >= 0 {
			out.flow[a] += g.Flow(id)
		}
		out.total += out.flow[a]
		out.haul += out.flow[a] * t.arcs[a].haul
	}
	return out
}
