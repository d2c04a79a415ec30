package match

import (
	"cmp"
	"fmt"
	"slices"
)

// PinKind is what a coordinator decides by hand.
type PinKind uint8

// The kinds.
const (
	PinPacks  PinKind = iota + 1 // the line gets exactly so many packs; from a lot or farm, at least so many of them
	PinForbid                    // the line gets nothing from the lot or farm
	PinRaise                     // the line is served in another class
)

// Pin is one decision about one line.
type Pin struct {
	// ID names it in what it costs.
	ID   string
	Kind PinKind
	// Order and Product are the line.
	Order, Product string
	// Farm or Lot, one of them, is where PinForbid forbids to take packs and PinPacks takes
	// them; PinPacks without either is about all packs of the line.
	Farm, Lot string
	// Packs of PinPacks, 0 or more.
	Packs int64
	// Class of PinRaise, 1 to 9.
	Class int
}

// problem words what is wrong with the pin, naming its line.
func (p Pin) problem(format string, args ...any) error {
	return &Problem{"line", p.Order + "/" + p.Product, "is pinned (" + p.ID + "): " + fmt.Sprintf(format, args...)}
}

// checkPins refuses pins that make no sense in themselves.
func (d Day) checkPins() error {
	known := make(map[string]bool, len(d.Pins))
	for _, p := range d.Pins {
		switch {
		case known[p.ID]:
			return p.problem("there are two pins of that name: give each a name of its own")
		case p.Kind < PinPacks || p.Kind > PinRaise:
			return p.problem("%d is no kind of pin", p.Kind)
		case p.Farm != "" && p.Lot != "":
			return p.problem("it names a farm and a lot: name one of them")
		case p.Kind == PinForbid && p.Farm == "" && p.Lot == "":
			return p.problem("it forbids nothing: name a farm or a lot")
		case p.Kind == PinPacks && (p.Packs < 0 || p.Packs > maxPacks):
			return p.problem("%d packs: give 0 to %d", p.Packs, int64(maxPacks))
		case p.Kind == PinRaise && (p.Class < 1 || p.Class > 9):
			return p.problem("class %d: give 1 to 9", p.Class)
		}
		known[p.ID] = true
	}
	return nil
}

// nowhere is the place of a line that is no longer there.
const nowhere = -1

// want is a line, or a part of one, as the network sees it.
type want struct {
	Line
	// of is the line's place among the prepared lines, or nowhere.
	of int
	// must parts are met before all classes, or the day is refused.
	must bool
	// onlyLot, if set, is the one lot from which the part may come; notLots are those from
	// which it may not.
	onlyLot string
	notLots []string
	// had are packs of the line that are settled outside of this part.
	had int64
}

// class is the class of the part; that of what must be is before all others.
func (w *want) class() int {
	if w.must {
		return 0
	}
	return w.Class
}

// pinned is what the pins say of one line.
type pinned struct {
	total   *Pin
	sources []Pin
	notLots []string
}

// applyPins changes the lines as raised and forbidden and gathers the pinned packs by line.
func (p *prepared) applyPins() (map[int]*pinned, error) {
	if len(p.day.Pins) == 0 {
		return nil, nil
	}
	at := make(map[lineKey]int, len(p.lines))
	for i, l := range p.lines {
		at[lineKey{l.Order, l.Product}] = i
	}
	lots := make(map[string]Lot, len(p.lots))
	for _, l := range p.lots {
		lots[l.ID] = l
	}
	pins := make(map[int]*pinned)
	for _, pin := range p.day.Pins {
		i, known := at[lineKey{pin.Order, pin.Product}]
		if !known {
			return nil, pin.problem("there is no such line on this day: take the pin away")
		}
		if pins[i] == nil {
			pins[i] = &pinned{}
		}
		if err := p.apply(pin, i, pins[i], lots); err != nil {
			return nil, err
		}
	}
	return pins, nil
}

func (p *prepared) apply(pin Pin, i int, to *pinned, lots map[string]Lot) error {
	line := &p.lines[i]
	lot, known := lots[pin.Lot]
	switch {
	case pin.Lot != "" && !known:
		return pin.problem("there is no lot %s on this day", pin.Lot)
	case pin.Kind == PinRaise:
		line.Class = pin.Class
	case pin.Kind == PinForbid && pin.Lot != "":
		to.notLots = append(to.notLots, pin.Lot)
	case pin.Kind == PinForbid:
		line.NotFrom = append(line.NotFrom[:len(line.NotFrom):len(line.NotFrom)], pin.Farm)
	case pin.Packs > line.Packs:
		return pin.problem("%d packs of %d ordered: give no more than were ordered", pin.Packs, line.Packs)
	case pin.Lot == "" && pin.Farm == "":
		if to.total != nil {
			return pin.problem("%d packs, and %d by %s: keep one of the two", pin.Packs, to.total.Packs, to.total.ID)
		}
		to.total = &pin
	case pin.Lot != "" && p.fit(lot) != Fits:
		return pin.problem("lot %s is held or past its shelf life", pin.Lot)
	default:
		to.sources = append(to.sources, pin)
	}
	return nil
}

// wants parts the open packs of each line into what must be and what is matched freely, and
// without packs adds those parts that are known from before.
func (p *prepared) wants(dropped map[int]bool, known map[wantKey]want) ([]want, error) {
	pins, err := p.applied, error(nil)
	wants := make([]want, 0, len(p.lines))
	for i, l := range p.lines {
		sent := p.sentLine[lineKey{l.Order, l.Product}]
		w := want{Line: l, of: i, had: sent}
		w.Packs = l.Packs - sent
		if pin := pins[i]; pin != nil {
			w.notLots = pin.notLots
			if wants, err = p.split(&w, *pin, wants, known); err != nil {
				return nil, err
			}
		}
		if dropped[i] {
			w.Packs = 0
		}
		if _, before := known[w.key()]; before || w.Packs > 0 {
			wants = append(wants, w)
		}
	}
	return withGone(wants, known), nil
}

// withGone adds, in their places, the known wants of lines that are no longer there.
func withGone(wants []want, known map[wantKey]want) []want {
	if len(known) == 0 {
		return wants
	}
	there := make(map[wantKey]bool, len(wants))
	for j := range wants {
		there[wants[j].key()] = true
	}
	var gone []want
	for key, w := range known {
		if !there[key] {
			w.Packs, w.had, w.of = 0, 0, nowhere
			gone = append(gone, w)
		}
	}
	if len(gone) == 0 {
		return wants
	}
	slices.SortFunc(gone, func(a, b want) int {
		return cmp.Or(byCustomer(a.Line, b.Line), cmp.Compare(a.class(), b.class()), cmp.Compare(a.onlyLot, b.onlyLot), cmp.Compare(a.OnlyFrom, b.OnlyFrom))
	})
	wants = append(wants, gone...)
	slices.SortStableFunc(wants, func(a, b want) int { return byCustomer(a.Line, b.Line) })
	return wants
}

// split takes what must be out of w and adds it to the wants.
func (p *prepared) split(w *want, pin pinned, wants []want, known map[wantKey]want) ([]want, error) {
	bound := int64(0)
	part := func(packs int64, pin Pin) {
		m := *w
		m.must, m.Packs, m.onlyLot = true, packs, pin.Lot
		if m.Least = 0; pin.Farm != "" {
			m.OnlyFrom = pin.Farm
		}
		if _, before := known[m.key()]; before || packs > 0 {
			wants = append(wants, m)
		}
	}
	for _, source := range pin.sources {
		if w.OnlyFrom != "" && source.Farm != "" && source.Farm != w.OnlyFrom {
			return nil, source.problem("the customer takes packs of %s only", w.OnlyFrom)
		}
		left := p.sentFrom(w.Line, source)
		packs := max(0, source.Packs-left)
		part(packs, source)
		bound += packs
	}
	limit := w.Packs
	if pin.total != nil {
		if limit = pin.total.Packs - w.had; limit < 0 {
			return nil, pin.total.problem("%d packs have left for it already", w.had)
		}
	}
	if bound > limit {
		return nil, pin.sources[0].problem("its pinned packs are %d, and %d can still be given: pin fewer", bound, limit)
	}
	if pin.total == nil {
		w.Packs, w.had = limit-bound, w.had+bound
		return wants, nil
	}
	part(limit-bound, Pin{})
	w.Packs = 0
	return wants, nil
}

// sentFrom is how many packs left for the line from where the pin says.
func (p *prepared) sentFrom(l Line, pin Pin) int64 {
	sum := int64(0)
	for _, a := range p.sent {
		if a.Order == l.Order && a.Product == l.Product && (pin.Lot == a.Lot || pin.Farm == a.Farm) {
			sum += a.Packs
		}
	}
	return sum
}
