package blend

import (
	"fmt"
	"math"
)

// Property is what a goal is about.
type Property uint8

const (
	Moisture Property = iota + 1 // % of wet mass
	Nitrogen                     // % of dry matter
	CNRatio                      // carbon over nitrogen
	Gypsum                       // kg of dry gypsum per tonne of other dry matter
)

func (p Property) String() string {
	switch p {
	case Moisture:
		return "moisture"
	case Nitrogen:
		return "nitrogen"
	case CNRatio:
		return "C:N"
	default:
		return "gypsum"
	}
}

// Goal is a value to reach.
type Goal struct {
	Property Property
	Value    float64
}

// UnreachableError says that a goal cannot be reached, and what comes nearest.
type UnreachableError struct {
	Goal Goal
	// Nearest is the value nearest to the goal that can be reached or
	// approached, and Grams the mass that does; Grams is -1 where the value is
	// only approached, the more is added the closer.
	Nearest float64
	Grams   int64
}

func (e *UnreachableError) Error() string {
	how := fmt.Sprintf("with %d g", e.Grams)
	if e.Grams < 0 {
		how = "approached by adding ever more"
	}
	return fmt.Sprintf("%v of %g cannot be reached; the nearest is %.4g (%s): change the goal or another ingredient", e.Goal.Property, e.Goal.Value, e.Nearest, how)
}

// Solve finds how much of one ingredient, added to the parts, reaches a goal:
// the published formulas for a second material (Cornell, Calculating moisture
// content, and C/N Ratio), solved for any number of parts. Stock limits the
// mass; nil for no limit. It returns an *UnreachableError where no mass from 0
// to the stock reaches the goal, and an *InvalidError for input that cannot be.
func Solve(parts []Part, with Ingredient, goal Goal, stock *int64) (grams int64, err error) {
	if err := goal.check(); err != nil {
		return 0, err
	}
	if err := with.Check(); err != nil {
		return 0, err
	}
	limit := int64(maxGrams)
	if stock != nil {
		if *stock < 0 {
			return 0, invalid("ingredient "+with.Name+", stock", "%d g must be 0 or more", *stock)
		}
		limit = min(limit, *stock)
	}
	// The goal is a balance: sum of grams × excess = 0.
	var balance float64
	for _, p := range parts {
		if err := p.check(); err != nil {
			return 0, err
		}
		e, err := goal.excess(p.Ingredient)
		if err != nil {
			return 0, err
		}
		balance += float64(p.Grams) * e
	}
	own, err := goal.excess(with)
	if err != nil {
		return 0, err
	}
	if _, err := Of(parts); err != nil {
		return 0, err
	}
	if balance == 0 {
		return 0, nil
	}
	if need := -balance / own; own != 0 && need >= 0 && math.Round(need) <= float64(limit) {
		return int64(math.Round(need)), nil
	}
	return 0, goal.unreachable(parts, with, limit, stock != nil, balance, own)
}

// unreachable finds the nearest value: as it stands, with all the stock, or
// approached without end. With more of one ingredient a property only rises
// or only falls, so the nearest lies at an end.
func (g Goal) unreachable(parts []Part, with Ingredient, limit int64, stocked bool, balance, own float64) error {
	out := &UnreachableError{Goal: g}
	if towards := balance*own < 0; towards {
		out.Grams = limit
	}
	mixed := append(append([]Part{}, parts...), Part{with, out.Grams})
	m, err := Of(mixed)
	if err != nil {
		return err
	}
	v, ok := m.value(g.Property)
	if !ok {
		return invalid("goal, "+g.Property.String(), "the recipe has no %v to change: add an ingredient that has", g.Property)
	}
	out.Nearest = v
	if out.Grams > 0 && !stocked {
		out.Grams = -1
	}
	return out
}

func (m Mix) value(p Property) (float64, bool) {
	at := map[Property]*float64{Moisture: &m.Moisture, Nitrogen: m.Nitrogen, CNRatio: m.CN, Gypsum: m.GypsumKgPerTonne}[p]
	if at == nil {
		return 0, false
	}
	return *at, true
}

// excess is how far a gram of an ingredient pulls the balance above the goal.
func (g Goal) excess(i Ingredient) (float64, error) {
	switch g.Property {
	case Moisture:
		return (i.Moisture - g.Value) / 100, nil
	case Nitrogen:
		return i.nitrogen() - i.dry()*g.Value/100, nil
	case Gypsum:
		if i.Gypsum {
			return i.dry(), nil
		}
		return -i.dry() * g.Value / 1000, nil
	default:
		c, known := i.carbon()
		if !known {
			return 0, invalid("ingredient "+i.Name+", carbon", "is not stated, and C:N needs it: give carbon, ash or C:N")
		}
		return c - g.Value*i.nitrogen(), nil
	}
}

func (g Goal) check() error {
	most := 100.0
	switch g.Property {
	case Moisture, Nitrogen:
	case CNRatio, Gypsum:
		most = 1000
	default:
		return invalid("goal", "say what is to be reached: moisture, nitrogen, C:N or gypsum")
	}
	if !(g.Value >= 0 && g.Value <= most) || g.Property == Moisture && g.Value == 100 {
		return invalid("goal, "+g.Property.String(), "%g must be from 0 to %g", g.Value, most)
	}
	return nil
}
