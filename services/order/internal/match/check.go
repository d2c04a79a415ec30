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
	maxGrams = 1 << 24
	maxEven  = 1 << 20 // weights and shares
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
	if err := d.checkLines(products); err != nil {
		return err
	}
	if err := d.checkFarms(); err != nil {
		return err
	}
	return d.checkPins()
}

// checkFarms refuses farms and zones that make no sense.
func (d Day) checkFarms() error {
	farms := make(map[string]bool, len(d.Farms))
	for _, f := range d.Farms {
		switch {
		case farms[f.ID]:
			return &Problem{"farm", f.ID, "is there twice: give each farm once"}
		case f.Shares < 0 || f.Shares > maxEven:
			return &Problem{"farm", f.ID, fmt.Sprintf("has %d shares: give 0 to %d", f.Shares, maxEven)}
		case f.Ahead < -maxEven || f.Ahead > maxEven:
			return &Problem{"farm", f.ID, fmt.Sprintf("is %d packs ahead: give %d to %d", f.Ahead, -maxEven, maxEven)}
		}
		farms[f.ID] = true
	}
	pairs := make(map[[2]string]bool, len(d.ZoneCosts))
	for _, z := range d.ZoneCosts {
		switch pair, name := [2]string{z.Farm, z.Zone}, z.Farm+" to "+z.Zone; {
		case z.Farm == "" || z.Zone == "":
			return &Problem{"zone cost", name, "needs a farm and a zone"}
		case pairs[pair]:
			return &Problem{"zone cost", name, "is there twice: give each farm and zone once"}
		case z.MinorPerKg < 0 || z.MinorPerKg > maxEven:
			return &Problem{"zone cost", name, fmt.Sprintf("is %d a kilogram: give 0 to %d", z.MinorPerKg, maxEven)}
		default:
			pairs[pair] = true
		}
	}
	switch {
	case d.Rules.Short > ShortInTurn:
		return &Problem{"rule", fmt.Sprint(d.Rules.Short), "is no way to share what is short"}
	case d.Rules.Left > LeftByCarry:
		return &Problem{"rule", fmt.Sprint(d.Rules.Left), "is no way to share what is left over"}
	}
	return nil
}

func (d Day) checkProducts() (map[string]bool, error) {
	known := make(map[string]bool, len(d.Products))
	for _, p := range d.Products {
		switch {
		case known[p.ID]:
			return nil, &Problem{"product", p.ID, "is there twice: give each product once"}
		case p.ShelfLife < 0 || p.ShelfLife > maxDay:
			return nil, &Problem{"product", p.ID, fmt.Sprintf("has a shelf life of %d days: give 0 or more", p.ShelfLife)}
		case p.Grams < 0 || p.Grams > maxGrams:
			return nil, &Problem{"product", p.ID, fmt.Sprintf("has packs of %d grams: give 0 to %d", p.Grams, maxGrams)}
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
		case l.Withheld < 0 || l.Withheld > maxPacks:
			return &Problem{"lot", l.ID, fmt.Sprintf("withholds %d packs: give 0 to %d", l.Withheld, int64(maxPacks))}
		case l.ID == "" || l.Farm == "":
			return &Problem{"lot", l.ID, "needs a code and a farm"}
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
		case l.Least < 0 || l.Least > l.Packs:
			return &Problem{"line", name, fmt.Sprintf("has %d packs as the fewest of use: give 0 to %d", l.Least, l.Packs)}
		case l.Weight < 0 || l.Weight > maxEven:
			return &Problem{"line", name, fmt.Sprintf("has a weight of %d: give 0 to %d", l.Weight, maxEven)}
		}
		if err := l.checkInstead(name, products); err != nil {
			return err
		}
		known[key] = true
	}
	return nil
}

// checkInstead refuses substitutes that make no sense.
func (l Line) checkInstead(name string, products map[string]bool) error {
	known := make(map[string]bool, len(l.Instead))
	for _, t := range l.Instead {
		switch {
		case !products[t.Product]:
			return &Problem{"line", name, fmt.Sprintf("takes product %q instead, which is not among the products", t.Product)}
		case known[t.Product] || t.Product == l.Product:
			return &Problem{"line", name, fmt.Sprintf("takes product %q instead twice, or instead of itself: give each once", t.Product)}
		case t.Reluctance < 0 || t.Reluctance > maxValue:
			return &Problem{"line", name, fmt.Sprintf("takes product %q with a reluctance of %d: give 0 to %d", t.Product, t.Reluctance, int64(maxValue))}
		}
		known[t.Product] = true
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
