package match

import (
	"context"
	"fmt"
	"slices"
	"time"

	"breakshare.example/services/order/internal/match/flow"
)

// Step is how far a run has come.
type Step uint8

// The steps, in order.
const (
	Solving   Step = iota + 1 // looking for the best flow
	Verifying                 // checking that there is none better
)

// Run matches a day. It tells each step as it begins; told may be nil. The order of the day's
// lots, lines, products and sent packs makes no difference.
//
// It returns a *Problem for a day that makes no sense, a *TooLarge for one whose costs could
// overflow, the context's error when it ends first, and an error that no input can cause where
// the solver's answer does not stand up to the check.
func Run(ctx context.Context, d Day, told func(Step)) (Match, error) {
	if told == nil {
		told = func(Step) {}
	}
	if err := d.check(); err != nil {
		return Match{}, err
	}
	today, err := prepare(d)
	if err != nil {
		return Match{}, err
	}
	ranked, err := weigh(today.freeLots(), today.openLines())
	if err != nil {
		return Match{}, err
	}
	net := build(ranked)
	told(Solving)
	begun := time.Now()
	var solver flow.Solver
	best, err := solver.Solve(ctx, &net.problem, flow.Options{})
	if err != nil {
		return Match{}, fmt.Errorf("match: solve: %w", err)
	}
	solving := time.Since(begun)
	told(Verifying)
	if err := flow.Verify(&net.problem, best); err != nil {
		return Match{}, fmt.Errorf("match: the solver's answer is not the best: %w", err)
	}
	allocations := append(net.deal(best.Flow), today.sent...)
	m := today.report(merge(allocations))
	m.Proof = Proof{Nodes: net.problem.Nodes(), Arcs: net.problem.Arcs(), Cost: best.Cost, Verified: true, Solving: solving}
	return m, nil
}

// prepared is a checked day, sorted, with what left already set apart.
type prepared struct {
	day      Day
	products map[string]Product
	lots     []Lot  // by code
	lines    []Line // by customer, order and product
	sent     []Allocation
	sentLot  map[string]int64
	sentLine map[lineKey]int64
}

// prepare sorts the day, so that nothing after it depends on the order of the input, and takes
// in what was sent.
func prepare(d Day) (prepared, error) {
	p := prepared{
		day: d, products: make(map[string]Product, len(d.Products)),
		lots: slices.SortedFunc(slices.Values(d.Lots), byCode), lines: slices.SortedFunc(slices.Values(d.Lines), byCustomer),
		sentLot: make(map[string]int64), sentLine: make(map[lineKey]int64),
	}
	for _, product := range d.Products {
		p.products[product.ID] = product
	}
	if len(d.Sent) == 0 {
		return p, nil
	}
	lots := make(map[string]Lot, len(d.Lots))
	for _, l := range d.Lots {
		lots[l.ID] = l
	}
	lines := make(map[lineKey]Line, len(d.Lines))
	for _, l := range d.Lines {
		lines[lineKey{l.Order, l.Product}] = l
	}
	for _, s := range d.Sent {
		if err := p.take(s, lots, lines); err != nil {
			return prepared{}, err
		}
	}
	return p, nil
}

// take sets apart packs that left.
func (p *prepared) take(s Sent, lots map[string]Lot, lines map[lineKey]Line) error {
	key, name := lineKey{s.Order, s.Product}, s.Order+"/"+s.Product+" from lot "+s.Lot
	lot, line := lots[s.Lot], lines[key]
	switch {
	case lot.ID == "" || lot.Product != s.Product:
		return &Problem{"sent", name, "is from a lot that is not among the lots of its product"}
	case line.Order == "":
		return &Problem{"sent", name, "is for a line that is not among the lines"}
	case s.Packs < 1 || s.Packs > line.Packs-p.sentLine[key]:
		return &Problem{"sent", name, fmt.Sprintf("says %d packs of %d ordered: give 1 or more, and no more than were ordered", s.Packs, line.Packs)}
	}
	p.sentLine[key] += s.Packs
	p.sentLot[s.Lot] += s.Packs
	p.sent = append(p.sent, Allocation{
		Order: s.Order, Customer: line.Customer, Product: s.Product,
		Lot: lot.ID, Farm: lot.Farm, Room: lot.Room, Packs: s.Packs,
	})
	return nil
}

// fit says whether the lot may be delivered.
func (p prepared) fit(l Lot) Fit { return l.FitOn(p.day.Number, p.products[l.Product].ShelfLife) }

// freeLots are the lots fit for the day with what has not left yet.
func (p prepared) freeLots() []Lot {
	var free []Lot
	for _, l := range p.lots {
		l.Packs -= p.sentLot[l.ID]
		if l.Packs > 0 && p.fit(l) == Fits {
			free = append(free, l)
		}
	}
	return free
}

// openLines are the lines with what has not left for them yet.
func (p prepared) openLines() []Line {
	var open []Line
	for _, l := range p.lines {
		l.Packs -= p.sentLine[lineKey{l.Order, l.Product}]
		if l.Packs > 0 {
			open = append(open, l)
		}
	}
	return open
}
