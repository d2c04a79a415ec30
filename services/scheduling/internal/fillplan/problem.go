package fillplan

import (
	"math"
	"slices"
)

// never marks a fill that may not be made; it is far above any cost and leaves
// room to add costs to it.
const never = math.MaxInt64 / 4

// problem is an instance laid out for speed. Product-weeks are numbered
// cell = week*products + product, so that what a fill adds lies close together.
type problem struct {
	in       *Instance
	weeks    int
	products int
	// short and over are the prices of a gram, by product, in millicents.
	short, over []int64
	// need is demand less committed supply, by cell, in grams.
	need  []int64
	rooms []roomChoices
	// perMetre are the programmes in a room of one square metre.
	perMetre []slot
	// fills is how many triples of room, slot and week there are.
	fills int
	// fixed is a cost every plan bears, kept the fills every plan contains.
	fixed int64
	kept  []Fill
	// ceiling is more than any plan can cost, in millicents.
	ceiling int64
	// dearest limits what a single priced row may come to, times the price scale.
	dearest int64
	// highestYard is the highest price of a kilogram of yard capacity.
	highestYard int64
}

// roomChoices is what one room may do.
type roomChoices struct {
	free  int
	slots []slot
	// idle says whether the room may stand unfilled in a week.
	idle []bool
	// bound is set where idle is false in some week.
	bound bool
}

// slot is one programme in one room.
type slot struct {
	programme int
	occ       int
	compost   int64 // kg of one fill
	lumps     []lump
	// upto[k] is how many lumps fall in the first k weeks of the fill.
	upto []int
	// base is the cost of filling in each week, apart from what the yield
	// changes, in millicents; never where it is not allowed.
	base []int64
	// first numbers the fills of this slot: week w is fill first+w.
	first int
	// shape numbers the pair of programme and area.
	shape int
	// reduced is scratch of the relaxation: the priced cost of each week.
	reduced []int64
}

// lump is what one fill adds to one product-week.
type lump struct {
	offset      int // from the cell week*products of the fill week
	grams       int64
	short, over int64
}

// cellCost is the cost in millicents of a gap, in grams: short if positive,
// over if negative.
func cellCost(gap, short, over int64) int64 {
	return max(gap*short, -gap*over)
}

func newProblem(in *Instance, wishes *Wishes) *problem {
	p := &problem{in: in, weeks: in.Weeks, products: len(in.Products)}
	for _, product := range in.Products {
		p.short = append(p.short, product.ShortCents)
		p.over = append(p.over, product.OverCents)
	}
	p.need = make([]int64, p.weeks*p.products)
	for q := range p.products {
		for w := range p.weeks {
			p.need[w*p.products+q] = in.DemandGrams[q][w] - in.SupplyGrams[q][w]
		}
	}
	lumps := map[shape][]lump{}
	upto := map[int][]int{}
	for r, room := range in.Rooms {
		c := roomChoices{free: room.Free, idle: make([]bool, p.weeks)}
		for w := range c.idle {
			c.idle[w] = true
		}
		for _, g := range room.Programmes {
			key := shape{g, room.Area}
			if lumps[key] == nil {
				lumps[key], upto[g] = p.lumpsOf(in.Programmes[g], room.Area)
			}
			s := slot{
				programme: g,
				occ:       in.Programmes[g].Weeks,
				compost:   in.Programmes[g].CompostKg * room.Area,
				lumps:     lumps[key],
				upto:      upto[g],
				base:      make([]int64, p.weeks),
			}
			s.first, s.reduced = p.fills, make([]int64, p.weeks)
			p.fills += p.weeks
			for w := range s.base {
				s.base[w] = never
				if w >= room.Free && s.compost <= in.YardKg[w] {
					s.base[w] = fillCost(in, Fill{Room: r, Programme: g, Week: w})
				}
			}
			c.slots = append(c.slots, s)
		}
		p.rooms = append(p.rooms, c)
	}
	for _, g := range in.Programmes {
		lumps, upto := p.lumpsOf(g, 1)
		p.perMetre = append(p.perMetre, slot{occ: g.Weeks, lumps: lumps, upto: upto})
	}
	p.ceiling = in.ceiling().Int64()
	wishes.apply(p)
	p.dearest = (math.MaxInt64 >> 4) / int64(4*len(p.need)+16*p.weeks+64)
	p.highestYard = p.dearest / max(1, p.mostCompost(), slices.Max(in.YardKg))
	return p
}

// mostCompost is more than the fills of any one week can ask for, in kg.
func (p *problem) mostCompost() int64 {
	var total int64
	for r := range p.rooms {
		var compost int64
		for _, s := range p.rooms[r].slots {
			compost = max(compost, s.compost)
		}
		total += compost
	}
	return total
}

func (p *problem) lumpsOf(g Programme, area int64) (lumps []lump, upto []int) {
	lumps, upto = []lump{}, []int{0}
	for k, row := range g.YieldGrams {
		for q, grams := range row {
			if grams > 0 {
				lumps = append(lumps, lump{offset: k*p.products + q, grams: grams * area, short: p.short[q], over: p.over[q]})
			}
		}
		upto = append(upto, len(lumps))
	}
	return lumps, upto
}

// inside is the part of a slot's lumps that fall inside the horizon when it is
// filled in a week.
func (p *problem) inside(s *slot, week int) []lump {
	return s.lumps[:s.upto[min(s.occ, p.weeks-week)]]
}

// after is the week in which a room is free again, T at most.
func (p *problem) after(s *slot, week int) int {
	return min(p.weeks, week+s.occ)
}
