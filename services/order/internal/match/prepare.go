package match

import (
	"fmt"
	"slices"
)

// prepared is a checked day, sorted, with what left already set apart.
type prepared struct {
	day      Day
	products map[string]Product
	farms    map[string]Farm
	lots     []Lot  // by code
	lines    []Line // by customer, order and product, as the pins change them
	sent     []Allocation
	sentLot  map[string]int64
	sentLine map[lineKey]int64
	applied  map[int]*pinned // by line
}

// prepare sorts the day, so that nothing after it depends on the order of the input, and takes
// in what was sent and pinned.
func prepare(d Day) (*prepared, error) {
	p := &prepared{
		day: d, products: make(map[string]Product, len(d.Products)), farms: make(map[string]Farm, len(d.Farms)),
		lots: slices.SortedFunc(slices.Values(d.Lots), byCode), lines: slices.SortedFunc(slices.Values(d.Lines), byCustomer),
		sentLot: make(map[string]int64), sentLine: make(map[lineKey]int64),
	}
	for _, product := range d.Products {
		p.products[product.ID] = product
	}
	for _, f := range d.Farms {
		p.farms[f.ID] = f
	}
	for i := range p.lines {
		if in := p.lines[i].Instead; !slices.IsSortedFunc(in, byProduct) {
			p.lines[i].Instead = slices.SortedFunc(slices.Values(in), byProduct)
		}
	}
	if err := p.takeSent(); err != nil {
		return nil, err
	}
	var err error
	p.applied, err = p.applyPins()
	return p, err
}

// takeSent sets apart the packs that left.
func (p *prepared) takeSent() error {
	if len(p.day.Sent) == 0 {
		return nil
	}
	lots := make(map[string]Lot, len(p.lots))
	for _, l := range p.lots {
		lots[l.ID] = l
	}
	lines := make(map[lineKey]Line, len(p.lines))
	for _, l := range p.lines {
		lines[lineKey{l.Order, l.Product}] = l
	}
	for _, s := range p.day.Sent {
		if err := p.take(s, lots, lines); err != nil {
			return err
		}
	}
	return nil
}

// take sets apart packs that left.
func (p *prepared) take(s Sent, lots map[string]Lot, lines map[lineKey]Line) error {
	key, name := lineKey{s.Order, s.Product}, s.Order+"/"+s.Product+" from lot "+s.Lot
	lot, line := lots[s.Lot], lines[key]
	switch {
	case lot.ID == "":
		return &Problem{"sent", name, "is from a lot that is not among the lots"}
	case line.Order == "":
		return &Problem{"sent", name, "is for a line that is not among the lines"}
	case s.Packs < 1 || s.Packs > line.Packs-p.sentLine[key]:
		return &Problem{"sent", name, fmt.Sprintf("says %d packs of %d ordered: give 1 or more, and no more than were ordered", s.Packs, line.Packs)}
	}
	p.sentLine[key] += s.Packs
	p.sentLot[s.Lot] += s.Packs
	p.sent = append(p.sent, allocate(line, lot, s.Packs))
	return nil
}

// allocate gives packs of a lot to a line.
func allocate(line Line, lot Lot, packs int64) Allocation {
	return Allocation{
		Order: line.Order, Customer: line.Customer, Product: line.Product,
		Lot: lot.ID, Farm: lot.Farm, Room: lot.Room, Packed: lot.Product, Packs: packs,
	}
}

// fit says whether the lot may be delivered.
func (p *prepared) fit(l Lot) Fit { return l.FitOn(p.day.Number, p.products[l.Product].ShelfLife) }

// freeLots are the lots fit for the day with what has not left yet, and without packs those that
// are known from before.
func (p *prepared) freeLots(known map[string]bool) []Lot {
	var free []Lot
	for _, l := range p.lots {
		if l.Packs -= p.sentLot[l.ID]; l.Packs < 0 || p.fit(l) != Fits {
			l.Packs = 0
		}
		if l.Packs > 0 || known[l.ID] {
			free = append(free, l)
		}
	}
	return free
}

// money writes an amount of minor units.
func (p *prepared) money(minor int64) string {
	if p.day.Money == nil {
		return fmt.Sprintf("%d minor units", minor)
	}
	return p.day.Money(minor)
}
