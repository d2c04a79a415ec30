package match

import (
	"fmt"
	"math"
)

// limit of packs in one lot or line, and of money: far above any trade, far below overflow.
const (
	maxPacks = 1 << 40
	maxValue = 1 << 40
	maxDay   = 1 << 24
)

// Problem is something in a Day that makes no sense.
type Problem struct {
	// Thing is "product", "lot", "line" or "sent"; ID says which.
	Thing, ID string
	// Text says what is wrong and how to mend it.
	Text string
}

// Error implements error.
func (p *Problem) Error() string { return fmt.Sprintf("match: %s %s %s", p.Thing, p.ID, p.Text) }

// TooLarge is a day whose costs could leave 62 bits.
type TooLarge struct {
	Lots, Lines int
	Packs       int64
}

// Error implements error.
func (e *TooLarge) Error() string {
	return fmt.Sprintf("match: %d lots, %d lines and %d packs are too many to be matched exactly in one go: match fewer products at a time",
		e.Lots, e.Lines, e.Packs)
}

// check refuses what makes no sense, so that what follows need not ask again.
func (d Day) check() error {
	if d.Number < 0 || d.Number > maxDay {
		return &Problem{"day", fmt.Sprint(d.Number), "is not a day: give days since 1970-01-01"}
	}
	products, err := d.checkProducts()
	if err != nil {
		return err
	}
	if err := d.checkLots(products); err != nil {
		return err
	}
	return d.checkLines(products)
}

func (d Day) checkProducts() (map[string]bool, error) {
	known := make(map[string]bool, len(d.Products))
	for _, p := range d.Products {
		switch {
		case known[p.ID]:
			return nil, &Problem{"product", p.ID, "is there twice: give each product once"}
		case p.ShelfLife < 0 || p.ShelfLife > maxDay:
			return nil, &Problem{"product", p.ID, fmt.Sprintf("has a shelf life of %d days: give 0 or more", p.ShelfLife)}
		}
		known[p.ID] = true
	}
	return known, nil
}

func (d Day) checkLots(products map[string]bool) error {
	known := make(map[string]bool, len(d.Lots))
	for _, l := range d.Lots {
		switch {
		case known[l.ID]:
			return &Problem{"lot", l.ID, "is there twice: give each lot once"}
		case !products[l.Product]:
			return &Problem{"lot", l.ID, fmt.Sprintf("is of product %q, which is not among the products", l.Product)}
		case l.Packs < 0 || l.Packs > maxPacks:
			return &Problem{"lot", l.ID, fmt.Sprintf("has %d packs: give 0 to %d", l.Packs, int64(maxPacks))}
		case l.PickDay < 0 || l.PickDay > d.Number:
			return &Problem{"lot", l.ID, fmt.Sprintf("is picked on day %d, after the delivery on day %d", l.PickDay, d.Number)}
		case l.Carry.Milli < 0 || l.Carry.Milli > maxValue:
			return &Problem{"lot", l.ID, fmt.Sprintf("has a carry cost of %d: give 0 to %d", l.Carry.Milli, int64(maxValue))}
		}
		known[l.ID] = true
	}
	return nil
}

// lineKey is what tells lines apart.
type lineKey struct{ order, product string }

func (d Day) checkLines(products map[string]bool) error {
	known := make(map[lineKey]bool, len(d.Lines))
	for _, l := range d.Lines {
		key, name := lineKey{l.Order, l.Product}, l.Order+"/"+l.Product
		switch {
		case known[key]:
			return &Problem{"line", name, "is there twice: give each product of an order once"}
		case !products[l.Product]:
			return &Problem{"line", name, "asks for a product that is not among the products"}
		case l.Packs < 1 || l.Packs > maxPacks:
			return &Problem{"line", name, fmt.Sprintf("asks for %d packs: give 1 to %d", l.Packs, int64(maxPacks))}
		case l.Class < 1 || l.Class > 9:
			return &Problem{"line", name, fmt.Sprintf("is of class %d: give 1 to 9", l.Class)}
		case l.Value < 0 || l.Value > maxValue:
			return &Problem{"line", name, fmt.Sprintf("has a value of %d a pack: give 0 to %d", l.Value, int64(maxValue))}
		}
		known[key] = true
	}
	return nil
}

// times multiplies counts; ok is false where the product leaves 62 bits.
func times(a, b int64) (product int64, ok bool) {
	const most = math.MaxInt64 / 2
	if a != 0 && b > most/a {
		return 0, false
	}
	return a * b, true
}
