package match

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// explainer puts into words why lines are short and packs are left.
type explainer struct {
	*prepared
	acc     *accounts
	prices  map[string]Price
	dropped map[int]bool
	seen    map[string]*view // by demand
	lotsOf  map[string][]int
}

// view is what the lots of the products that a demand takes come to, in packs.
type view struct {
	// offered to the demand; held, past, warm, excluded and withheld are not.
	offered, held, past, warm, excluded, withheld int64
	// excludedLeft of the excluded are left over.
	excludedLeft int64
	// took is by class what was offered and went to anybody.
	took [10]int64
	// ordered of the products, by anybody.
	ordered int64
}

// look gathers the view of a line.
func (e *explainer) look(i int) *view {
	l := e.lines[i]
	w := want{Line: l, of: i}
	if pin := e.applied[i]; pin != nil {
		w.notLots = pin.notLots
	}
	d := demand{takes: []Instead{{Product: l.Product}}, like: w}
	for _, t := range l.Instead {
		if t.Reluctance < worth(l) && t.Product != l.Product {
			d.takes = append(d.takes, t)
		}
	}
	d.like.NotFrom = slices.Sorted(slices.Values(l.NotFrom))
	key := d.key()
	if e.seen[key] == nil {
		e.seen[key] = e.sum(d)
	}
	return e.seen[key]
}

// sum adds up the lots that matter to a demand.
func (e *explainer) sum(d demand) *view {
	if e.lotsOf == nil {
		e.lotsOf = make(map[string][]int)
		for i, l := range e.lots {
			e.lotsOf[l.Product] = append(e.lotsOf[l.Product], i)
		}
	}
	v := &view{}
	for _, t := range d.takes {
		v.ordered += e.acc.product(t.Product).Ordered
		for _, i := range e.lotsOf[t.Product] {
			e.addLot(v, d, e.lots[i])
		}
	}
	return v
}

// addLot adds one lot to a view.
func (e *explainer) addLot(v *view, d demand, l Lot) {
	sent := e.sentLot[l.ID]
	offered, rest := sent, max(0, l.Packs-sent)
	switch e.fit(l) {
	case IsHeld:
		v.held += rest
	case PastLife:
		v.past += rest
	case TooWarm:
		v.warm += rest
	case Fits:
		offered += rest
		v.withheld += l.Withheld
	}
	if !d.allows(l.Farm, l.ID) && sent == 0 {
		v.excluded += offered
		v.excludedLeft += offered - e.acc.lot[l.ID]
		return
	}
	v.offered += offered
	if took := e.acc.took[l.ID]; took != nil {
		for class, packs := range took {
			v.took[class] += packs
		}
	}
}

// explain says why a line is short, in figures.
func (e *explainer) explain(i int, g *Got) {
	v := e.look(i)
	higher := int64(0)
	for _, packs := range v.took[:g.Class] {
		higher += packs
	}
	same := max(0, v.took[g.Class]-g.Matched)
	pin := e.applied[i]
	byHand := pin != nil && (pin.total != nil || len(pin.notLots) > 0)
	bind := func(reason Reason, packs int64) {
		if packs > 0 {
			g.Binds = append(g.Binds, Bind{reason, packs})
		}
	}
	switch {
	case pin != nil && pin.total != nil:
		bind(ByHand, g.Packs-g.Matched)
	case e.dropped[i]:
		bind(TooFewOfUse, g.Least)
	}
	if byHand && len(g.Binds) == 0 {
		bind(ByHand, v.excluded)
	}
	excluded := v.excluded
	if byHand {
		excluded = 0
	}
	if v.offered == 0 || v.excludedLeft > 0 {
		bind(Excluded, excluded)
		excluded = 0
	}
	if v.offered == 0 {
		bind(NotPromised, v.withheld)
		bind(NotFit, v.held+v.past+v.warm)
		if len(g.Binds) == 0 {
			bind(NotOffered, g.Packs-g.Matched)
		}
	} else {
		bind(SameClass, same)
		bind(HigherClass, higher)
		bind(Excluded, excluded)
		bind(NotPromised, v.withheld)
		if same+higher == 0 {
			bind(NotEnough, g.Packs-g.Matched)
		}
		bind(NotFit, v.held+v.past+v.warm)
	}
	g.Reason = g.Binds[0].Reason
	g.Explanation = e.words(*g, v, higher, same)
}

// words tells a chef.
func (e *explainer) words(g Got, v *view, higher, same int64) string {
	name := e.name(g.Product)
	var text string
	kept := v.unfit()
	switch g.Reason {
	case NotOffered:
		text = fmt.Sprintf("No farm has %s for this day.", name)
	case NotFit:
		text, kept = fmt.Sprintf("All %s of %s are kept back: %s.", packs(v.held+v.past+v.warm), name, kept), ""
	case TooFewOfUse:
		text = fmt.Sprintf("%s ordered, %d matched: fewer than the %d that are of use were left, so they went to others.", packs(g.Packs), g.Matched, g.Least)
	case ByHand:
		text = fmt.Sprintf("%s ordered, %d matched: the co-op's office decided so.", packs(g.Packs), g.Matched)
	default:
		text = fmt.Sprintf("%s ordered, %d matched: the farms have only %s of %s for %d ordered", packs(g.Packs), g.Matched, packs(v.offered), e.takenNames(g.Line), v.ordered)
		if higher > 0 {
			text += fmt.Sprintf(", %d went to customers of a higher class than %d", higher, g.Class)
		}
		if same > 0 {
			text += fmt.Sprintf(", %d to other orders of class %d", same, g.Class)
		}
		text += "."
	}
	if v.excluded > 0 && g.Reason != ByHand {
		text += fmt.Sprintf(" %s more %s from farms or lots that are not to go to this order.", packs(v.excluded), are(v.excluded))
	}
	if v.withheld > 0 {
		text += fmt.Sprintf(" %s more %s likely, but not sure enough to be promised.", packs(v.withheld), are(v.withheld))
	}
	if kept != "" {
		text += fmt.Sprintf(" Kept back: %s.", kept)
	}
	if price := e.prices[g.Product]; price.More > 0 {
		text += fmt.Sprintf(" One more pack of %s would be worth %s", name, e.money(price.More))
		if price.Order == g.Order && price.For == g.Product {
			text += ", and this order would get it"
		}
		text += "."
	}
	return text
}

// takenNames are the products that a line takes.
func (e *explainer) takenNames(l Line) string {
	names := []string{e.name(l.Product)}
	for _, t := range l.Instead {
		if t.Reluctance < worth(l) && t.Product != l.Product {
			names = append(names, e.name(t.Product))
		}
	}
	return strings.Join(names, " or ")
}

// unfit says what is not offered.
func (v *view) unfit() string {
	var parts []string
	for _, part := range []struct {
		packs int64
		why   string
	}{{v.held, "held"}, {v.past, "past the shelf life"}, {v.warm, "held too warm to keep until then"}} {
		switch {
		case part.packs == 0:
		case len(parts) == 0:
			parts = append(parts, packs(part.packs)+" "+part.why)
		default:
			parts = append(parts, fmt.Sprintf("%d %s", part.packs, part.why))
		}
	}
	return strings.Join(parts, ", ")
}

// leftOver says what demand would have taken what is left of a product.
func (e *explainer) leftOver(s ProductSum, lines []Got) string {
	if s.Left() == 0 {
		return ""
	}
	var closed, kin []Got
	for _, g := range lines {
		if g.Matched == g.Packs {
			continue
		}
		switch {
		case g.Product == s.Product, slices.ContainsFunc(g.Instead, func(t Instead) bool { return t.Product == s.Product }):
			closed = append(closed, g)
		case e.products[s.Product].Kind != "" && e.products[g.Product].Kind == e.products[s.Product].Kind:
			kin = append(kin, g)
		}
	}
	text := fmt.Sprintf("%s of %s left over", packs(s.Left()), e.name(s.Product))
	switch {
	case len(closed) > 0:
		text += fmt.Sprintf(": %s short of it, but not to have it from these farms or in so small a number", some(closed))
	case len(kin) > 0:
		text += fmt.Sprintf(": nobody ordered more of it; %s short of something of the same kind and would take it if they took it instead", some(kin))
	default:
		text += ": nobody ordered more of it, and nothing of its kind is short"
	}
	return text + "."
}

// some names up to three customers and counts what they are short of.
func some(lines []Got) string {
	names, short := []string{}, int64(0)
	slices.SortStableFunc(lines, func(a, b Got) int { return cmp.Compare(b.Packs-b.Matched, a.Packs-a.Matched) })
	for _, g := range lines {
		short += g.Packs - g.Matched
		if len(names) < 3 && !slices.Contains(names, g.Customer) {
			names = append(names, g.Customer)
		}
	}
	return fmt.Sprintf("%s are %s", strings.Join(names, ", "), packs(short))
}

// are is the verb for so many.
func are(n int64) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// packs writes a count.
func packs(n int64) string {
	if n == 1 {
		return "1 pack"
	}
	return fmt.Sprintf("%d packs", n)
}
