package fillplan

import (
	"math"
	"math/rand/v2"
	"slices"
)

// choice is a fill of a known room: which of its slots, in which week.
type choice struct {
	slot, week int
}

// state is a feasible plan under change, with everything needed to price the
// next change kept up to date.
type state struct {
	p *problem
	// gap is demand less supply by cell, in grams; cost is its cost.
	gap, cost []int64
	// yard is the compost left by week, in kg.
	yard []int64
	// rooms are the timelines, each ascending by week.
	rooms [][]choice
	total int64

	// Scratch of price, the path functions and trySwap.
	delta                  [][]int64 // by slot and week: what filling would change
	value                  []int64
	soft                   []float64
	newA, newB, oldA, oldB []choice
}

func newState(p *problem) *state {
	s := &state{
		p:     p,
		gap:   slices.Clone(p.need),
		cost:  make([]int64, len(p.need)),
		yard:  slices.Clone(p.in.YardKg),
		rooms: make([][]choice, len(p.rooms)),
		total: p.fixed,
		value: make([]int64, p.weeks+1),
		soft:  make([]float64, p.weeks+1),
	}
	most := 0
	for _, r := range p.rooms {
		most = max(most, len(r.slots))
	}
	for range most {
		s.delta = append(s.delta, make([]int64, p.weeks))
	}
	for i, gap := range s.gap {
		q := i % p.products
		s.cost[i] = cellCost(gap, p.short[q], p.over[q])
		s.total += s.cost[i]
	}
	for _, f := range p.kept {
		c := choice{slot: p.rooms[f.Room].slotOf(f.Programme), week: f.Week}
		s.add(f.Room, c, 1)
		s.rooms[f.Room] = append(s.rooms[f.Room], c)
	}
	return s
}

// lift empties a room.
func (s *state) lift(r int) {
	for _, c := range s.rooms[r] {
		s.add(r, c, -1)
	}
	s.rooms[r] = s.rooms[r][:0]
}

// place fills an empty room with a timeline, which it copies.
func (s *state) place(r int, timeline []choice) {
	for _, c := range timeline {
		s.add(r, c, 1)
	}
	s.rooms[r] = append(s.rooms[r][:0], timeline...)
}

// add books a fill (sign 1) or takes it back (sign -1).
func (s *state) add(r int, c choice, sign int64) {
	slot := &s.p.rooms[r].slots[c.slot]
	first := c.week * s.p.products
	change := sign * slot.base[c.week]
	for _, l := range s.p.inside(slot, c.week) {
		i := first + l.offset
		s.gap[i] -= sign * l.grams
		now := cellCost(s.gap[i], l.short, l.over)
		change += now - s.cost[i]
		s.cost[i] = now
	}
	s.total += change
	s.yard[c.week] -= sign * slot.compost
}

// price computes, for an empty room, what each allowed fill would change in the
// total; never for the others.
func (s *state) price(r int) {
	room := &s.p.rooms[r]
	for k := range room.slots {
		slot := &room.slots[k]
		delta := s.delta[k]
		for w := room.free; w < s.p.weeks; w++ {
			change := slot.base[w]
			if change >= never || slot.compost > s.yard[w] {
				delta[w] = never
				continue
			}
			first := w * s.p.products
			gap, cost := s.gap[first:], s.cost[first:]
			for i := range s.p.inside(slot, w) {
				l := &slot.lumps[i]
				left := gap[l.offset] - l.grams
				change += max(left*l.short, -left*l.over) - cost[l.offset]
			}
			delta[w] = change
		}
	}
}

// best returns, for a priced room, the timeline of least cost: of equal paths,
// an idle week before a fill and an earlier slot before a later one. The result
// is appended to timeline.
func (s *state) best(r int, timeline []choice) []choice {
	room := &s.p.rooms[r]
	v := s.value
	v[s.p.weeks] = 0
	for w := s.p.weeks - 1; w >= room.free; w-- {
		v[w] = never
		if room.idle[w] {
			v[w] = v[w+1]
		}
		for k := range room.slots {
			if d := s.delta[k][w]; d < never {
				v[w] = min(v[w], d+v[s.p.after(&room.slots[k], w)])
			}
		}
	}
	for w := room.free; w < s.p.weeks; {
		next := w + 1
		if !room.idle[w] || v[w] != v[w+1] {
			for k := range room.slots {
				if d := s.delta[k][w]; d < never && v[w] == d+v[s.p.after(&room.slots[k], w)] {
					timeline = append(timeline, choice{slot: k, week: w})
					next = s.p.after(&room.slots[k], w)
					break
				}
			}
		}
		w = next
	}
	return timeline
}

// draw returns, for a priced room, a timeline drawn with probability
// proportional to exp(-cost/temperature), appended to timeline.
func (s *state) draw(r int, temperature float64, rng *rand.Rand, timeline []choice) []choice {
	room := &s.p.rooms[r]
	cold := 1 / temperature
	// soft[w] is -log of the summed weights of all paths from week w, in units
	// of the temperature.
	soft := s.soft
	soft[s.p.weeks] = 0
	for w := s.p.weeks - 1; w >= room.free; w-- {
		low := math.Inf(1)
		if room.idle[w] {
			low = soft[w+1]
		}
		var energy [maxSlotsInline]float64
		list := energy[:0]
		if room.idle[w] {
			list = append(list, low)
		}
		for k := range room.slots {
			if d := s.delta[k][w]; d < never {
				e := float64(d)*cold + soft[s.p.after(&room.slots[k], w)]
				list = append(list, e)
				low = min(low, e)
			}
		}
		sum := 0.0
		for _, e := range list {
			if e-low < farAbove {
				sum += math.Exp(low - e)
			}
		}
		soft[w] = low
		if sum != 1 && sum > 0 {
			soft[w] = low - math.Log(sum)
		}
	}
	for w := room.free; w < s.p.weeks; {
		u := rng.Float64()
		if room.idle[w] {
			u -= math.Exp(soft[w] - soft[w+1])
			if u < 0 {
				w++
				continue
			}
		}
		pick := -1
		for k := range room.slots {
			d := s.delta[k][w]
			if d >= never {
				continue
			}
			weight := math.Exp(soft[w] - float64(d)*cold - soft[s.p.after(&room.slots[k], w)])
			if weight > 0 {
				pick = k
			}
			if u -= weight; u < 0 {
				break
			}
		}
		if pick < 0 {
			// Rounding left a sliver of probability to nobody: stay idle.
			w++
			continue
		}
		timeline = append(timeline, choice{slot: pick, week: w})
		w = s.p.after(&room.slots[pick], w)
	}
	return timeline
}

const (
	// maxSlotsInline is how many alternatives of a week draw holds without
	// allocating.
	maxSlotsInline = 16
	// farAbove is the energy, in temperatures, beyond which an alternative is
	// left out of a sum: e^-36 is below the precision of float64.
	farAbove = 36
)
