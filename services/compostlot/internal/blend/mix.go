package blend

import (
	"math/big"
)

// Part is a mass of an ingredient, as it lies.
type Part struct {
	Ingredient Ingredient
	Grams      int64
}

// Mix is what a recipe holds.
type Mix struct {
	WetGrams int64
	DryGrams float64
	Moisture float64  // % of wet mass
	Nitrogen *float64 // % of all dry matter, gypsum and potash included; nil without dry matter
	Carbon   *float64 // % of dry matter; nil where an ingredient's is not known
	CN       *float64 // nil where carbon is not known or there is no nitrogen
	// CostCents is the price of all, rounded half up; CostCentsPerTonne of a
	// tonne of the mix as it lies.
	CostCents, CostCentsPerTonne int64
	// GypsumKgPerTonne is dry gypsum over a tonne of other dry matter; nil
	// where there is no other dry matter.
	GypsumKgPerTonne *float64
}

// Of works out a mix. Nitrogen is 100 × sum of (dry × % N / 100) over the sum
// of dry, with all dry matter in the divisor (Penn State, Substrate
// Preparation for White Button Mushrooms, fact sheet, 2023, section II). It
// returns an *InvalidError for parts that cannot be and for an empty recipe.
func Of(parts []Part) (Mix, error) {
	var out Mix
	var nitrogen, carbon, gypsum float64
	carbonKnown := true
	var cost big.Int // grams × minor units per tonne
	for _, p := range parts {
		if err := p.check(); err != nil {
			return Mix{}, err
		}
		g := float64(p.Grams)
		out.WetGrams += p.Grams
		out.DryGrams += g * p.Ingredient.dry()
		nitrogen += g * p.Ingredient.nitrogen()
		c, known := p.Ingredient.carbon()
		carbon += g * c
		carbonKnown = carbonKnown && (known || p.Grams == 0)
		if p.Ingredient.Gypsum {
			gypsum += g * p.Ingredient.dry()
		}
		cost.Add(&cost, new(big.Int).Mul(big.NewInt(p.Grams), big.NewInt(p.Ingredient.PriceCents)))
	}
	if out.WetGrams == 0 {
		return Mix{}, invalid("recipe", "is empty: add a part with a mass")
	}
	out.Moisture = 100 * (float64(out.WetGrams) - out.DryGrams) / float64(out.WetGrams)
	if out.DryGrams > 0 {
		out.Nitrogen = new(100 * nitrogen / out.DryGrams)
		if carbonKnown {
			out.Carbon = new(100 * carbon / out.DryGrams)
		}
	}
	if carbonKnown && nitrogen > 0 {
		out.CN = new(carbon / nitrogen)
	}
	if other := out.DryGrams - gypsum; other > 0 {
		out.GypsumKgPerTonne = new(1000 * gypsum / other)
	}
	out.CostCents = roundedQuotient(&cost, 1_000_000)
	out.CostCentsPerTonne = roundedQuotient(&cost, out.WetGrams)
	return out, nil
}

func (p Part) check() error {
	if err := p.Ingredient.Check(); err != nil {
		return err
	}
	if p.Grams < 0 || p.Grams > maxGrams {
		return invalid("ingredient "+p.Ingredient.Name+", mass", "%d g must be from 0 to %g t", p.Grams, maxGrams/1e6)
	}
	return nil
}

// roundedQuotient divides, rounding half up.
func roundedQuotient(a *big.Int, by int64) int64 {
	twice := new(big.Int).Lsh(a, 1)
	twice.Add(twice, big.NewInt(by))
	return twice.Div(twice, new(big.Int).Lsh(big.NewInt(by), 1)).Int64()
}

// WaterNeed is the water that brings a mix to a moisture: it changes neither
// nitrogen nor C:N. It returns an *UnreachableError where the mix is wetter
// already, and an *InvalidError for a moisture not from 0 to below 100.
func WaterNeed(parts []Part, moisture float64) (grams int64, err error) {
	return Solve(parts, Water(), Goal{Moisture, moisture}, nil)
}
