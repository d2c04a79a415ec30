package match

import (
	"slices"
	"strconv"
	"strings"
)

// group is lots that may go to the same places at the same cost, but for what each lot costs by
// itself. Farm, its carriage and lot are set only where they make a difference.
type group struct {
	product, farm, lot string
	carry              Carry
}

// demand is wants that take the same packs at the same cost, but for what each want is worth.
type demand struct {
	// takes are the products, the one ordered first.
	takes []Instead
	class int
	like  want // what all wants of the demand have in common
}

// allows says whether packs of the lot may go to the demand. Packs that nobody has yet, without
// a farm, may go wherever no single lot is asked for.
func (d demand) allows(farm, lot string) bool {
	switch {
	case d.like.onlyLot != "" && d.like.onlyLot != lot:
		return false
	case farm == "":
		return true
	case d.like.OnlyFrom != "" && d.like.OnlyFrom != farm:
		return false
	}
	return !slices.Contains(d.like.NotFrom, farm) && (lot == "" || !slices.Contains(d.like.notLots, lot))
}

// reluctance is what the demand minds about the product; ok is false where it does not take it.
func (d demand) reluctance(product string) (minor int64, ok bool) {
	for _, t := range d.takes {
		if t.Product == product {
			return t.Reluctance, true
		}
	}
	return 0, false
}

// sorter gathers the demands of a day and what makes a difference between lots.
type sorter struct {
	demands []demand
	of      []int32 // by want
	// by[p] are the demands that take product p.
	by map[string][]int32
	// farms and lots are those products and lots whose farm, or self, makes a difference.
	farms, lots map[string]bool
	// zones has what a kilogram costs by zone and farm.
	zones map[string]map[string]int64
	// exact is set where reluctance is in play: then values count in money, not in ranks.
	exact bool
}

// sort puts wants that are alike together.
func sortDemands(wants []want, lots []Lot, zoneCosts []ZoneCost) sorter {
	s := sorter{
		of: make([]int32, len(wants)), by: make(map[string][]int32), farms: make(map[string]bool), lots: make(map[string]bool),
		zones: make(map[string]map[string]int64),
	}
	for _, z := range zoneCosts {
		if s.zones[z.Zone] == nil {
			s.zones[z.Zone] = make(map[string]int64)
		}
		s.zones[z.Zone][z.Farm] = z.MinorPerKg
	}
	offering := make(map[string]map[string]bool)
	for _, l := range lots {
		if l.Packs == 0 {
			continue
		}
		if offering[l.Product] == nil {
			offering[l.Product] = make(map[string]bool)
		}
		offering[l.Product][l.Farm] = true
	}
	for _, w := range wants {
		for _, t := range w.Instead {
			s.exact = s.exact || (w.Packs > 0 && t.Reluctance > 0 && t.Reluctance < worth(w.Line))
		}
	}
	known := make(map[string]int32)
	for j, w := range wants {
		d := s.narrow(w, offering)
		key := d.key()
		at, there := known[key]
		if !there {
			at = int32(len(s.demands))
			known[key] = at
			s.add(d)
		}
		if s.of[j] = at; w.Packs > 0 {
			s.mark(d)
		}
	}
	return s
}

// narrow leaves out of a want what makes no difference to where its packs can come from.
func (s *sorter) narrow(w want, offering map[string]map[string]bool) demand {
	d := demand{takes: make([]Instead, 1, 1+len(w.Instead)), like: want{onlyLot: w.onlyLot, notLots: w.notLots}}
	d.takes[0].Product = w.Product
	for _, t := range w.Instead {
		if t.Reluctance < worth(w.Line) && t.Product != w.Product {
			d.takes = append(d.takes, t)
		}
	}
	if s.exact {
		d.class = w.class()
	}
	d.like.OnlyFrom = w.OnlyFrom
	if len(w.NotFrom) == 0 && s.zones[w.Zone] == nil {
		return d
	}
	for _, t := range d.takes {
		for farm := range offering[t.Product] {
			if slices.Contains(w.NotFrom, farm) && !slices.Contains(d.like.NotFrom, farm) {
				d.like.NotFrom = append(d.like.NotFrom, farm)
			}
			if _, costs := s.zones[w.Zone][farm]; costs {
				d.like.Zone = w.Zone
			}
		}
	}
	slices.Sort(d.like.NotFrom)
	return d
}

// key tells demands apart.
func (d demand) key() string {
	if len(d.takes) == 1 && d.class == 0 && d.like.onlyLot == "" && d.like.OnlyFrom == "" && d.like.Zone == "" && len(d.like.NotFrom)+len(d.like.notLots) == 0 {
		return d.takes[0].Product
	}
	var b strings.Builder
	part := func(mark byte, text string) {
		b.WriteByte(0)
		b.WriteByte(mark)
		b.WriteString(text)
	}
	for _, t := range d.takes {
		part('t', t.Product)
		part('r', strconv.FormatInt(t.Reluctance, 10))
	}
	part('c', strconv.Itoa(d.class))
	part('l', d.like.onlyLot)
	part('f', d.like.OnlyFrom)
	part('z', d.like.Zone)
	for _, farm := range d.like.NotFrom {
		part('n', farm)
	}
	for _, lot := range slices.Sorted(slices.Values(d.like.notLots)) {
		part('m', lot)
	}
	return b.String()
}

// add takes a new demand in.
func (s *sorter) add(d demand) {
	at := int32(len(s.demands))
	s.demands = append(s.demands, d)
	for _, t := range d.takes {
		s.by[t.Product] = append(s.by[t.Product], at)
	}
}

// mark notes of which lots the farm, or the lot itself, makes a difference to a demand.
func (s *sorter) mark(d demand) {
	for _, t := range d.takes {
		if d.like.OnlyFrom != "" || d.like.Zone != "" || len(d.like.NotFrom) > 0 {
			s.farms[t.Product] = true
		}
	}
	for _, lot := range d.like.notLots {
		s.lots[lot] = true
	}
	if d.like.onlyLot != "" {
		s.lots[d.like.onlyLot] = true
	}
}

// groupOf is the group of a lot.
func (s *sorter) groupOf(l Lot) group {
	g := group{product: l.Product}
	if s.farms[l.Product] {
		g.farm, g.carry = l.Farm, l.Carry
	}
	if s.lots[l.ID] {
		g.farm, g.carry, g.lot = l.Farm, l.Carry, l.ID
	}
	return g
}
