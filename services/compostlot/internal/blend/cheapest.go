package blend

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/optimize/convex/lp"
)

// Offer is an ingredient that may go into a batch.
type Offer struct {
	Ingredient Ingredient
	LeastGrams int64  // goes in whatever it costs
	MostGrams  *int64 // stock, or a limit of the recipe; nil for no limit
}

// Bound is a range for a property; nil for no limit on that side.
type Bound struct {
	Property  Property
	Low, High *float64
}

// Batch is what is to be mixed as cheaply as possible.
type Batch struct {
	WetGrams int64
	Offers   []Offer
	Bounds   []Bound
}

// Recipe is the answer.
type Recipe struct {
	Parts []Part // in the order of the offers, parts of nothing left out
	Mix   Mix
	// Binds names what keeps the recipe from being cheaper, in words.
	Binds []string
}

// InfeasibleError says that no recipe keeps all bounds. Nearest is the recipe
// that misses them least, by the sum of misses in their own units (gypsum and
// C:N in tens), and Missed names what it misses.
type InfeasibleError struct {
	Nearest Recipe
	Missed  []string
}

func (e *InfeasibleError) Error() string {
	return fmt.Sprintf("no recipe keeps all bounds; the nearest misses %v: widen a bound or offer another ingredient", e.Missed)
}

// Cheapest finds the cheapest recipe by linear programming. It returns an
// *InfeasibleError where the bounds cannot all be kept, and an *InvalidError
// for input that cannot be, which includes offers that together are too much
// or too little for the batch.
func Cheapest(b Batch) (Recipe, error) {
	if err := b.check(); err != nil {
		return Recipe{}, err
	}
	shares, err := b.solve(false)
	if err == nil {
		return b.recipe(shares)
	}
	if !errors.Is(err, lp.ErrInfeasible) {
		return Recipe{}, fmt.Errorf("cheapest recipe: %w", err)
	}
	if shares, err = b.solve(true); err != nil {
		return Recipe{}, fmt.Errorf("nearest recipe: %w", err)
	}
	nearest, err := b.recipe(shares)
	if err != nil {
		return Recipe{}, err
	}
	return Recipe{}, &InfeasibleError{Nearest: nearest, Missed: b.missed(nearest.Mix)}
}

// solve finds each offer's share of the batch. With elastic set, bounds may be
// missed and the misses are what is least.
func (b Batch) solve(elastic bool) ([]float64, error) {
	p := tableau{vars: len(b.Offers), cost: make([]float64, len(b.Offers))}
	ones := make([]float64, len(b.Offers))
	if !elastic {
		for i, o := range b.Offers {
			p.cost[i] = float64(o.Ingredient.PriceCents)
		}
	}
	for i, o := range b.Offers {
		ones[i] = 1
		one := make([]float64, len(b.Offers))
		one[i] = 1
		if o.LeastGrams > 0 {
			p.atLeast(one, b.share(o.LeastGrams))
		}
		if o.MostGrams != nil {
			p.atMost(one, b.share(*o.MostGrams))
		}
	}
	p.equal(ones, 1)
	for _, bound := range b.Bounds {
		for _, side := range bound.sides() {
			row := make([]float64, len(b.Offers))
			for i, o := range b.Offers {
				e, err := side.goal.excess(o.Ingredient)
				if err != nil {
					return nil, err
				}
				row[i] = e * side.sign * side.goal.scale()
			}
			if elastic {
				p.soft(row)
			} else {
				p.atLeast(row, 0)
			}
		}
	}
	return p.minimise()
}

func (b Batch) share(grams int64) float64 { return float64(grams) / float64(b.WetGrams) }

// side is one end of a bound: sign × excess over the goal must not be negative.
type side struct {
	goal Goal
	sign float64
	word string
}

func (b Bound) sides() []side {
	var out []side
	if b.Low != nil {
		out = append(out, side{Goal{b.Property, *b.Low}, 1, "lower"})
	}
	if b.High != nil {
		out = append(out, side{Goal{b.Property, *b.High}, -1, "upper"})
	}
	return out
}

// scale brings misses of different properties to comparable size, and rows to
// a size that suits the solver.
func (g Goal) scale() float64 {
	if g.Property == Nitrogen {
		return 100
	}
	return 10
}

// recipe turns shares into whole grams that add up to the batch, and names
// what binds.
func (b Batch) recipe(shares []float64) (Recipe, error) {
	grams := b.wholeGrams(shares)
	var out Recipe
	for i, g := range grams {
		if g > 0 {
			out.Parts = append(out.Parts, Part{b.Offers[i].Ingredient, g})
		}
	}
	var err error
	if out.Mix, err = Of(out.Parts); err != nil {
		return Recipe{}, err
	}
	out.Binds = b.binds(grams, out.Mix)
	return out, nil
}

// wholeGrams rounds by largest remainder within the limits of the offers, ties
// to the offer named first.
func (b Batch) wholeGrams(shares []float64) []int64 {
	grams, left := make([]int64, len(shares)), b.WetGrams
	order := make([]int, len(shares))
	for i, s := range shares {
		grams[i] = min(max(int64(s*float64(b.WetGrams)), b.Offers[i].LeastGrams), b.most(i))
		order[i] = i
		left -= grams[i]
	}
	rest := func(i int) float64 { return shares[i]*float64(b.WetGrams) - float64(grams[i]) }
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(rest(j), rest(i)) })
	// The offers can make up the batch (checked), so both loops end.
	for k := 0; left > 0; k++ {
		if i := order[k%len(order)]; grams[i] < b.most(i) && (shares[i] > 0 || k >= len(order)) {
			grams[i]++
			left--
		}
	}
	for k := 0; left < 0; k++ {
		if i := order[len(order)-1-k%len(order)]; grams[i] > b.Offers[i].LeastGrams {
			grams[i]--
			left++
		}
	}
	return grams
}

// most is the largest mass of an offer in the batch.
func (b Batch) most(i int) int64 {
	if m := b.Offers[i].MostGrams; m != nil {
		return min(*m, b.WetGrams)
	}
	return b.WetGrams
}

// binds names the limits that the recipe stands at.
func (b Batch) binds(grams []int64, m Mix) []string {
	var out []string
	for i, o := range b.Offers {
		if near := int64(2); o.MostGrams != nil && grams[i] >= *o.MostGrams-near && grams[i] > 0 {
			out = append(out, fmt.Sprintf("%s: all %d g on offer", o.Ingredient.Name, *o.MostGrams))
		} else if o.LeastGrams > 0 && grams[i] <= o.LeastGrams+near {
			out = append(out, fmt.Sprintf("%s: the least of %d g", o.Ingredient.Name, o.LeastGrams))
		}
	}
	for _, bound := range b.Bounds {
		for _, s := range bound.sides() {
			if v, ok := m.value(bound.Property); ok && math.Abs(v-s.goal.Value) <= 1e-4*math.Max(1, s.goal.Value) {
				out = append(out, fmt.Sprintf("%v: %s bound %g", bound.Property, s.word, s.goal.Value))
			}
		}
	}
	return out
}

// missed names the bounds that a mix breaks.
func (b Batch) missed(m Mix) []string {
	var out []string
	for _, bound := range b.Bounds {
		for _, s := range bound.sides() {
			v, ok := m.value(bound.Property)
			if !ok || s.sign*(v-s.goal.Value) < -1e-6*math.Max(1, s.goal.Value) {
				out = append(out, fmt.Sprintf("%v: %s bound %g (reaches %.4g)", bound.Property, s.word, s.goal.Value, v))
			}
		}
	}
	return out
}

func (b Batch) check() error {
	if b.WetGrams < 1 || b.WetGrams > maxGrams {
		return invalid("batch", "%d g must be from 1 g to %g t", b.WetGrams, maxGrams/1e6)
	}
	least, most := int64(0), int64(0)
	for i, o := range b.Offers {
		if err := o.Ingredient.Check(); err != nil {
			return err
		}
		top := b.most(i)
		if o.LeastGrams < 0 || top < 0 || o.LeastGrams > top {
			return invalid("offer "+o.Ingredient.Name, "the least of %d g must be from 0 to what there is, %d g", o.LeastGrams, top)
		}
		least, most = least+o.LeastGrams, most+top
	}
	if least > b.WetGrams || most < b.WetGrams {
		return invalid("offers", "come to %d g at least and %d g at most, the batch is %d g: change the batch or the stock", least, most, b.WetGrams)
	}
	for _, bound := range b.Bounds {
		for _, s := range bound.sides() {
			if err := s.goal.check(); err != nil {
				return err
			}
		}
		if bound.Low != nil && bound.High != nil && *bound.Low > *bound.High {
			return invalid("bound, "+bound.Property.String(), "the lower end %g is above the upper end %g", *bound.Low, *bound.High)
		}
	}
	return nil
}
