package flow

// spares are arcs that had a negative reduced cost when others were better.
// They are looked at again before the next block: that costs little, and
// outside groups measured a tenth fewer pivots and less pricing (after the
// candidate list of Mulvey, "Pivot strategies for primal-simplex network
// codes", Journal of the ACM 25, 1978, which however serves until it is empty).
type spares struct {
	arcs [8]int32
	n    int
}

// keep adds arc a if there is one, and room.
func (k *spares) keep(a int32) {
	if a != none && k.n < len(k.arcs) {
		k.arcs[k.n] = a
		k.n++
	}
}

// price returns an arc of negative reduced cost, or none: then the basis is
// optimal. It is the best of a block and the spares, or of the first block that
// has one. More flow pays from one of its ends to the other; for a full
// arc that is back from head to tail. The arcs of a block follow on those of
// the block before. Tree arcs have reduced cost 0 and are never chosen.
func (s *Solver) price() (in, from, to int32) {
	switch {
	case s.grouped && s.narrow:
		return priceGroups(s, s.cost32)
	case s.grouped:
		return priceGroups(s, s.cost64)
	case s.narrow:
		return priceMixed(s, s.cost32)
	}
	return priceMixed(s, s.cost64)
}

// priceGroups prices group after group; the head's potential is the same
// throughout a group.
func priceGroups[C int32 | int64](s *Solver, cost []C) (in, from, to int32) {
	best := int64(0)
	in = none
	value := s.value
	g, block := s.next, s.block
	scanned := 0
	for range s.groups {
		gr := s.groups[g]
		if g++; g == len(s.groups) {
			g = 0
		}
		above := value[s.base[gr.head]] + value[gr.head]
		r, k := cheapestTail(s.tail[gr.start:gr.end], cost[gr.start:gr.end], value, above, best)
		if k >= 0 {
			best, in, to = r, gr.start+int32(k), gr.head
		}
		scanned += int(gr.end - gr.start)
		if scanned >= block {
			s.work.Scanned += int64(scanned)
			scanned = 0
			if in != none {
				break
			}
		}
	}
	s.work.Scanned += int64(scanned)
	s.next = g
	if in == none {
		return in, none, none
	}
	if from = s.tail[in]; from < 0 {
		from, to = to, ^from
	}
	return in, from, to
}

// cheapestTail returns the least reduced cost below best of arcs with one head,
// whose potential is above, and where it stands; -1 if none is below.
//
// The scans are functions of their own so that all they use stays in
// registers.
//
//go:noinline
func cheapestTail[C int32 | int64](tails []int32, costs []C, value []int64, above, best int64) (int64, int) {
	at := -1
	costs = costs[:len(tails)]
	for k, u := range tails {
		var r int64
		if v := uint32(u); uint(v) < uint(len(value)) {
			r = int64(costs[k]) + value[v] - above
		} else { // full, and the complement of the tail
			r = above - value[^u] - int64(costs[k])
		}
		if r < best {
			best, at = r, k
		}
	}
	return best, at
}

// priceMixed prices arc after arc. No node rests, and a potential is its value
// alone.
func priceMixed[C int32 | int64](s *Solver, cost []C) (in, from, to int32) {
	best, in := bestSpare(s, cost)
	left := len(s.tail)
	at := s.next
	for left > 0 {
		end := min(at+s.block, at+left, len(s.tail))
		k, second := cheapestArc(s.tail[at:end], s.head[at:end], cost[at:end], s.value, best)
		if k >= 0 {
			s.spares.keep(in)
			if second >= 0 {
				s.spares.keep(int32(at + second))
			}
			in = int32(at + k)
		}
		s.work.Scanned += int64(end - at)
		left -= end - at
		if at = end; at == len(s.tail) {
			at = 0
		}
		if in != none {
			s.next = at
			return in, s.tail[in], s.head[in]
		}
	}
	s.next = at
	return none, none, none
}

// bestSpare takes the best of the spares and drops those that no longer pay.
func bestSpare[C int32 | int64](s *Solver, cost []C) (best int64, in int32) {
	kept := 0
	in = none
	for _, a := range s.spares.arcs[:s.spares.n] {
		r := int64(cost[a]) + s.value[s.tail[a]] - s.value[s.head[a]]
		if r >= 0 {
			continue
		}
		if r < best {
			best, in, a = r, a, in
		}
		if a != none {
			s.spares.arcs[kept] = a
			kept++
		}
	}
	s.spares.n = kept
	return best, in
}

// cheapestArc returns where the least reduced cost below best stands, and where
// the one that was the least until then; -1 if there is none.
//
//go:noinline
func cheapestArc[C int32 | int64](tails, heads []int32, costs []C, value []int64, best int64) (at, second int) {
	at, second = -1, -1
	heads = heads[:len(tails)]
	costs = costs[:len(tails)]
	for k, u := range tails {
		r := int64(costs[k]) + value[uint32(u)] - value[uint32(heads[k])]
		if r < best {
			second = at
			best, at = r, k
		}
	}
	return at, second
}
