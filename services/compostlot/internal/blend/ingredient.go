package blend

import "math"

// Ingredient is one feedstock as it lies in the yard. A content that nobody
// knows is nil, never 0.
type Ingredient struct {
	Name     string
	Moisture float64 // % of wet mass, 0 to 100
	// Nitrogen is % of dry matter; nil only where there is no dry matter.
	Nitrogen *float64
	// Carbon, Ash and CN are three ways to state carbon; at most one is given.
	Carbon *float64 // % of dry matter
	Ash    *float64 // % of dry matter
	CN     *float64 // carbon over nitrogen
	// PriceCents is the price of a tonne as it lies, in minor units.
	PriceCents int64
	Gypsum     bool // counts against the gypsum band
}

// Water is what is added with a hose: no dry matter, no price.
func Water() Ingredient { return Ingredient{Name: "water", Moisture: 100} }

// CarbonOfAsh is % carbon of dry matter from % ash: volatile solids over 1.8,
// which takes carbon as 55 % of what burns; 45 to 60 % occurs (Cornell Waste
// Management Institute, Estimating carbon content).
func CarbonOfAsh(ash float64) float64 { return (100 - ash) / 1.8 }

// CarbonOfRatio is % carbon of dry matter from % nitrogen and C:N (Cornell, C/N
// Ratio).
func CarbonOfRatio(nitrogen, ratio float64) float64 { return nitrogen * ratio }

// SampleMoisture is the moisture of a sample in %: what it lost in drying over
// its wet mass, the container taken off (Cornell Waste Management Institute,
// Calculating moisture content). All in one unit. It returns an *InvalidError
// for weights that cannot be.
func SampleMoisture(wet, container, containerAndDry float64) (float64, error) {
	dry := containerAndDry - container
	if !(wet > 0 && container >= 0 && dry >= 0 && dry <= wet) {
		return 0, invalid("sample", "dry %g must be from 0 to wet %g: was the container taken off once?", dry, wet)
	}
	return 100 * (wet - dry) / wet, nil
}

// dry is the share of dry matter in the wet mass, 0 to 1.
func (i Ingredient) dry() float64 { return (100 - i.Moisture) / 100 }

// nitrogen is kg of nitrogen in a kg as it lies.
func (i Ingredient) nitrogen() float64 {
	if i.Nitrogen == nil {
		return 0 // no dry matter: checked
	}
	return i.dry() * *i.Nitrogen / 100
}

// carbon is kg of carbon in a kg as it lies; known is false where nobody has
// stated it.
func (i Ingredient) carbon() (kg float64, known bool) {
	switch {
	case i.Moisture == 100:
		return 0, true
	case i.Carbon != nil:
		return i.dry() * *i.Carbon / 100, true
	case i.Ash != nil:
		return i.dry() * CarbonOfAsh(*i.Ash) / 100, true
	case i.CN != nil:
		return i.dry() * CarbonOfRatio(*i.Nitrogen, *i.CN) / 100, true
	}
	return 0, false
}

// Check returns an *InvalidError for an ingredient that cannot be.
func (i Ingredient) Check() error {
	where := "ingredient " + i.Name
	if i.Name == "" {
		return invalid("ingredient", "give a name")
	}
	if !percent(i.Moisture) {
		return invalid(where+", moisture", "%g %% must be from 0 to 100", i.Moisture)
	}
	if i.Nitrogen == nil && i.Moisture < 100 {
		return invalid(where+", nitrogen", "is not stated: give %% of dry matter, 0 for none")
	}
	ways := 0
	for name, v := range map[string]*float64{"nitrogen": i.Nitrogen, "carbon": i.Carbon, "ash": i.Ash} {
		if v != nil && !percent(*v) {
			return invalid(where+", "+name, "%g %% must be from 0 to 100", *v)
		}
		if v != nil && name != "nitrogen" {
			ways++
		}
	}
	if i.CN != nil {
		ways++
		if !(*i.CN >= 0) || math.IsInf(*i.CN, 1) || i.Nitrogen == nil || CarbonOfRatio(*i.Nitrogen, *i.CN) > 100 {
			return invalid(where+", C:N", "%g must be 0 or more, and with the nitrogen give at most 100 %% carbon", *i.CN)
		}
	}
	if ways > 1 {
		return invalid(where+", carbon", "is stated in %d ways: give one of carbon, ash and C:N", ways)
	}
	if i.PriceCents < 0 || i.PriceCents > maxPriceCents {
		return invalid(where+", price", "%d per tonne must be from 0 to %d minor units", i.PriceCents, int64(maxPriceCents))
	}
	return nil
}

// maxPriceCents is the dearest tonne believed.
const maxPriceCents = 1_000_000_000

func percent(v float64) bool { return v >= 0 && v <= 100 }
