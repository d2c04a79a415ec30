package fillplan

import (
	"cmp"
	"slices"
)

// yardUnits is the largest number of units for which a rounded yard row is kept;
// in roomier weeks rounding gains too little to be worth its price.
const yardUnits = 6

// Demand is rounded over up to longestSpan weeks, with shifts up to shiftSpan.
const longestSpan, shiftSpan = 7, 5

// yardCuts round the yard rows down (Gomory, "Outline of an algorithm for integer
// solutions to linear programs", Bulletin of the AMS 64, 1958; Chvatal, "Edmonds
// polytopes and a hierarchy of combinatorial problems", Discrete Mathematics 4,
// 1973): if compost counts in whole units of a divisor, the units of a week's
// fills cannot pass the whole units of its capacity. For each number of units
// the least divisor counts the most fills.
func (x *relaxation) yardCuts() []cut {
	p := x.p
	var cuts []cut
	for w, kg := range p.in.YardKg {
		for limit := int64(1); limit <= yardUnits; limit++ {
			divisor := kg/(limit+1) + 1
			c := cut{rhs: -limit, unit: inFills, key: cutKey{product: -1, week: w, divisor: divisor}}
			all := true
			for i, s := range x.shapes {
				compost := s.area * p.in.Programmes[s.programme].CompostKg
				if compost > kg {
					continue
				}
				if units := compost / divisor; units > 0 {
					c.terms = append(c.terms, term{index: int32(i*p.weeks + w), coef: -units})
				} else {
					all = false
				}
			}
			if len(c.terms) > 0 {
				c.highest = x.highestPrice(c.terms, limit)
				cuts = append(cuts, c)
			}
			if all {
				break
			}
		}
	}
	return cuts
}

// highestPrice keeps the value of a cut within the range of exact arithmetic.
func (x *relaxation) highestPrice(terms []term, rhs int64) int64 {
	most := max(rhs, 1)
	for _, t := range terms {
		most = max(most, max(t.coef, -t.coef)*int64(len(x.p.rooms)))
	}
	return x.p.dearest / most
}

// separate finds the lot-size cuts that the average plan breaks most: mixed-integer
// rounding (Nemhauser and Wolsey, "A recursive procedure to generate all cuts for
// 0-1 mixed integer programs", Mathematical Programming 46, 1990) of the demand
// of one product over one to a few weeks. part[i] is the average number of fills
// of shape and week i.
//
// With lumps a, demand d and a divisor, let r be what is left of d after the
// divisor has been taken out as often as leaves more than nothing, and n how
// often it would have to be taken to cover d. Then
//
//	grams short >= r n - sum over fills of (r floor(a/divisor) + min(r, a mod divisor)).
func (x *relaxation) separate(part []float64, short []float64, most int) []cut {
	known := map[cutKey]bool{}
	for i := range x.cuts {
		known[x.cuts[i].key] = true
	}
	list := slices.Concat(x.separateDemand(part, short, known), x.separateYard(part, known))
	slices.SortStableFunc(list, func(a, b broken) int { return cmp.Compare(b.depth, a.depth) })
	var cuts []cut
	for _, f := range list[:min(len(list), most)] {
		cuts = append(cuts, f.cut)
	}
	return cuts
}

// broken is a cut with the grams by which the average plan breaks it.
type broken struct {
	cut   cut
	depth float64
}

// separateDemand finds, for each product and window of weeks, the deepest cut with
// and without shifts.
func (x *relaxation) separateDemand(part []float64, short []float64, known map[cutKey]bool) []broken {
	p := x.p
	var list []broken
	for q := range p.products {
		for span := 1; span <= longestSpan; span++ {
			for w := 0; w+span <= p.weeks; w++ {
				var demand int64
				already := 0.0
				for k := range span {
					cell := (w+k)*p.products + q
					demand += max(0, p.need[cell])
					already += short[cell]
				}
				if p.need[w*p.products+q] <= 0 || p.need[(w+span-1)*p.products+q] <= 0 {
					continue
				}
				lumps := x.lumpsIn(q, w, span)
				groups := x.group(lumps, part)
				exclusive := span <= shiftSpan && x.exclusive(lumps)
				best, depth := (*shifted)(nil), 0.001*float64(demand)
				plainBest, plainDepth := best, depth
				for _, divisor := range x.divisors(lumps, part, demand) {
					x.work(100 * len(lumps))
					if x.stopped() {
						return nil
					}
					plain := newShifted(demand, divisor, groups)
					if v := plain.value() - already; v > plainDepth && !known[cutKey{q, w, span, divisor, plain.hash()}] {
						plainBest, plainDepth = plain, v
					}
					if exclusive {
						rooms := newShifted(demand, divisor, groups)
						if v := rooms.climb() - already; v > depth && !known[cutKey{q, w, span, divisor, rooms.hash()}] {
							best, depth = rooms, v
						}
					}
				}
				if best != nil {
					list = append(list, broken{x.demandCut(q, w, span, best), depth})
				}
				if plainBest != nil && (best == nil || plainBest.hash() != best.hash() || plainBest.divisor != best.divisor) {
					list = append(list, broken{x.demandCut(q, w, span, plainBest), plainDepth})
				}
			}
		}
	}
	return list
}

// separateYard finds the deepest cut on the yard of each week.
func (x *relaxation) separateYard(part []float64, known map[cutKey]bool) []broken {
	p := x.p
	var list []broken
	for w, kg := range p.in.YardKg {
		var sizes []term
		load := 0.0
		for i, s := range x.shapes {
			if c := s.area * p.in.Programmes[s.programme].CompostKg; c > 0 && c <= kg {
				sizes = append(sizes, term{index: int32(i*p.weeks + w), coef: c})
				load += part[i*p.weeks+w] * float64(c)
			}
		}
		if len(sizes) == 0 || load < float64(kg)/2 {
			continue
		}
		groups := x.group(sizes, part)
		divisors := x.divisors(sizes, part, kg)
		for units := range int64(4) {
			divisors = append(divisors, kg/(units+2)+1)
		}
		best, depth := (*shifted)(nil), 0.01*float64(kg)
		for _, divisor := range divisors {
			x.work(100 * len(sizes))
			if x.stopped() {
				return nil
			}
			rooms := newShifted(kg, divisor, groups)
			v := rooms.climb() - max(0, float64(kg)-load)
			if v > depth && !known[cutKey{-1, w, 0, divisor, rooms.hash()}] {
				best, depth = rooms, v
			}
		}
		if best != nil {
			list = append(list, broken{x.yardCut(w, best), depth * yardDepth})
		}
	}
	return list
}

// yardDepth sets kilograms of compost beside grams of product: a hundred kilograms
// to fill a square metre yield some twenty kilograms, a fifth of it in a week.
const yardDepth = 100

func (x *relaxation) demandCut(q, w, span int, rooms *shifted) cut {
	c := cut{rhs: rooms.rhs(), key: cutKey{q, w, span, rooms.divisor, rooms.hash()}, unit: inGrams}
	for i, g := range rooms.groups {
		for _, l := range g.lumps {
			if coef := rooms.coef(i, l.coef); coef > 0 {
				c.terms = append(c.terms, term{index: l.index, coef: coef})
			}
		}
	}
	for k := range span {
		c.cells = append(c.cells, int32((w+k)*x.p.products+q))
	}
	c.highest = min(x.highestPrice(c.terms, max(c.rhs, -c.rhs)), x.scale*(x.p.short[q]+x.p.over[q]))
	return c
}

// yardCut is the rounding of a yard row: what it says of grams short and over
// holds of capacity left, and nothing may be over.
func (x *relaxation) yardCut(w int, rooms *shifted) cut {
	c := cut{rhs: rooms.rhs() - rooms.demand, key: cutKey{-1, w, 0, rooms.divisor, rooms.hash()}, unit: inCompost}
	for i, g := range rooms.groups {
		for _, l := range g.lumps {
			if coef := rooms.coef(i, l.coef) - l.coef; coef != 0 {
				c.terms = append(c.terms, term{index: l.index, coef: coef})
			}
		}
	}
	c.highest = x.highestPrice(c.terms, max(c.rhs, -c.rhs))
	return c
}

// group sorts the lumps by the area of their rooms. It counts the rooms that can
// make any of the fills.
func (x *relaxation) group(lumps []term, part []float64) []group {
	var groups []group
	at := map[int64]int{}
	weeks := map[int][]int{} // of the fills, by programme
	for _, l := range lumps {
		s := x.shapes[int(l.index)/x.p.weeks]
		i, ok := at[s.area]
		if !ok {
			i = len(groups)
			at[s.area] = i
			groups = append(groups, group{area: s.area})
		}
		weeks[s.programme] = append(weeks[s.programme], int(l.index)%x.p.weeks)
		groups[i].lumps = append(groups[i].lumps, l)
		groups[i].part = append(groups[i].part, part[l.index])
	}
	for r := range x.p.rooms {
		can := slices.ContainsFunc(x.p.rooms[r].slots, func(s slot) bool {
			return slices.ContainsFunc(weeks[s.programme], func(w int) bool { return s.base[w] < never })
		})
		if i, ok := at[x.p.in.Rooms[r].Area]; ok && can {
			groups[i].rooms++
		}
	}
	return groups
}

// exclusive reports whether no room can make two of the fills.
func (x *relaxation) exclusive(lumps []term) bool {
	last := 0
	first := map[int]int{}
	for _, l := range lumps {
		g, t := x.shapes[int(l.index)/x.p.weeks].programme, int(l.index)%x.p.weeks
		last = max(last, t)
		if f, ok := first[g]; !ok || t < f {
			first[g] = t
		}
	}
	for g, t := range first {
		if last-t >= x.p.in.Programmes[g].Weeks {
			return false
		}
	}
	return true
}

// lumpsIn lists what a fill of each shape and week adds to a product over some
// weeks.
func (x *relaxation) lumpsIn(q, week, span int) []term {
	p := x.p
	var lumps []term
	for i, s := range x.shapes {
		yield := p.in.Programmes[s.programme].YieldGrams
		for t := max(0, week-len(yield)+1); t < week+span; t++ {
			var grams int64
			for w := max(week, t); w < min(week+span, t+len(yield)); w++ {
				if p.need[w*p.products+q] > 0 {
					grams += yield[w-t][q]
				}
			}
			if grams > 0 {
				lumps = append(lumps, term{index: int32(i*p.weeks + t), coef: grams * s.area})
			}
		}
	}
	return lumps
}

// divisors are the lumps the average plan uses, and one above all.
func (x *relaxation) divisors(lumps []term, part []float64, demand int64) []int64 {
	largest := demand
	var list []int64
	for _, l := range lumps {
		largest = max(largest, l.coef+1)
		if part[l.index] > 0.01 && l.coef*16 > demand {
			list = append(list, l.coef)
		}
	}
	slices.Sort(list)
	list = slices.Compact(list)
	return append(list, largest)
}
