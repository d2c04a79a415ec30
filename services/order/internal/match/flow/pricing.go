package flow

// price returns an arc of negative reduced cost, the best of the first block
// that has one, or none: then the basis is optimal. The arcs of a block follow
// on those of the block before. Tree arcs have reduced cost 0 and are never
// chosen.
func (s *Solver) price() int32 {
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
func priceGroups[C int32 | int64](s *Solver, cost []C) int32 {
	best, in := int64(0), none
	value := s.value
	g, block := s.next, s.block
	scanned := 0
	for range s.groups {
		gr := s.groups[g]
		if g++; g == len(s.groups) {
			g = 0
		}
		head := value[s.base[gr.head]] + value[gr.head]
		tails := s.tail[gr.start:gr.end]
		costs := cost[gr.start:gr.end][:len(tails)]
		states := s.state[gr.start:gr.end][:len(tails)]
		for k, u := range tails {
			if r := int64(states[k]) * (int64(costs[k]) + value[u] - head); r < best {
				best, in = r, gr.start+int32(k)
			}
		}
		scanned += len(tails)
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
	return in
}

// priceMixed prices arcs in the mixed order, where no node rests and a
// potential is its value alone.
func priceMixed[C int32 | int64](s *Solver, cost []C) int32 {
	best, in := int64(0), none
	value := s.value
	left := len(s.tail)
	at := s.next
	for left > 0 {
		end := min(at+s.block, at+left, len(s.tail))
		tails := s.tail[at:end]
		heads := s.head[at:end][:len(tails)]
		costs := cost[at:end][:len(tails)]
		states := s.state[at:end][:len(tails)]
		for k, u := range tails {
			if r := int64(states[k]) * (int64(costs[k]) + value[u] - value[heads[k]]); r < best {
				best, in = r, int32(at+k)
			}
		}
		s.work.Scanned += int64(len(tails))
		left -= len(tails)
		if at = end; at == len(s.tail) {
			at = 0
		}
		if in != none {
			break
		}
	}
	s.next = at
	return in
}
