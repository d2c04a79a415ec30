package fillplan

import "math"

// ban forbids in the node every fill that no plan cheaper than cutoff (in
// millicents) can contain, judged by the node's prices.
func (x *relaxation) ban(n *node, cutoff int64) {
	bound := x.solve(n, &n.prices)
	if bound == math.MaxInt64 {
		n.bound = bound
		return
	}
	p := x.p
	spare := x.scale*cutoff - bound
	for r := range p.rooms {
		room := &p.rooms[r]
		if room.free >= p.weeks {
			continue
		}
		best := x.plan(r, n, &n.prices)
		before := x.before
		for w := range before {
			before[w] = never
		}
		before[room.free] = 0
		for w := room.free; w < p.weeks; w++ {
			if before[w] >= never {
				continue
			}
			if room.idle[w] && !n.banned.has(p.fills+r*p.weeks+w) {
				before[w+1] = min(before[w+1], before[w])
			}
			for k := range room.slots {
				slot := &room.slots[k]
				d := slot.reduced[w]
				if d >= never {
					continue
				}
				end := min(p.weeks, w+slot.occ)
				before[end] = min(before[end], before[w]+d)
			}
		}
		for k := range room.slots {
			slot := &room.slots[k]
			for w := room.free; w < p.weeks; w++ {
				d := slot.reduced[w]
				if d >= never {
					continue
				}
				end := x.after[min(p.weeks, w+slot.occ)]
				if before[w] >= never || end >= never || before[w]+d+end-best >= spare {
					n.banned.set(slot.first + w)
				}
			}
		}
	}
}
