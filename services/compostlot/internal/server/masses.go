package server

import (
	"errors"
	"fmt"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/blend"
	"breakshare.example/services/platform/fault"
)

var units = map[compostlotv1.MassUnit]blend.Unit{
	compostlotv1.MassUnit_MASS_UNIT_UNSPECIFIED:     blend.Kilogram,
	compostlotv1.MassUnit_MASS_UNIT_KILOGRAM:        blend.Kilogram,
	compostlotv1.MassUnit_MASS_UNIT_TONNE:           blend.Tonne,
	compostlotv1.MassUnit_MASS_UNIT_POUND:           blend.Pound,
	compostlotv1.MassUnit_MASS_UNIT_SHORT_TON:       blend.ShortTon,
	compostlotv1.MassUnit_MASS_UNIT_GALLON_OF_WATER: blend.GallonOfWater,
}

// grams reads a mass.
func grams(path string, m *compostlotv1.Mass) (int64, error) {
	g, err := blend.Grams(m.GetAmount(), units[m.GetUnit()])
	if err != nil {
		return 0, fault.InvalidField(path+".amount", "%v", err)
	}
	return g, nil
}

// optionalGrams reads a mass that may be left out.
func optionalGrams(path string, m *compostlotv1.Mass) (*int64, error) {
	if m == nil {
		return nil, nil
	}
	g, err := grams(path, m)
	return &g, err
}

// mass writes grams in a unit of the contract.
func mass(g int64, unit compostlotv1.MassUnit) (*compostlotv1.Mass, error) {
	if unit == compostlotv1.MassUnit_MASS_UNIT_UNSPECIFIED {
		unit = compostlotv1.MassUnit_MASS_UNIT_KILOGRAM
	}
	amount, err := blend.In(g, units[unit])
	if err != nil {
		return nil, fmt.Errorf("show %d g: %w", g, err)
	}
	return &compostlotv1.Mass{Amount: amount, Unit: unit, Grams: g}, nil
}

// waterUnit is how a yard that weighs in a unit measures water.
func waterUnit(unit compostlotv1.MassUnit) compostlotv1.MassUnit {
	switch unit {
	case compostlotv1.MassUnit_MASS_UNIT_POUND, compostlotv1.MassUnit_MASS_UNIT_SHORT_TON:
		return compostlotv1.MassUnit_MASS_UNIT_GALLON_OF_WATER
	default:
		return unit
	}
}

func ingredient(m *compostlotv1.Ingredient) blend.Ingredient {
	out := blend.Ingredient{
		Name: m.GetName(), Moisture: m.GetMoisturePercent(), Nitrogen: m.NitrogenPercent,
		PriceCents: m.GetPriceMinorPerTonne(), Gypsum: m.GetGypsum(),
	}
	switch c := m.GetCarbon().(type) {
	case *compostlotv1.Ingredient_CarbonPercent:
		out.Carbon = &c.CarbonPercent
	case *compostlotv1.Ingredient_AshPercent:
		out.Ash = &c.AshPercent
	case *compostlotv1.Ingredient_CnRatio:
		out.CN = &c.CnRatio
	}
	return out
}

func ingredientMessage(i blend.Ingredient) *compostlotv1.Ingredient {
	out := &compostlotv1.Ingredient{
		Name: i.Name, MoisturePercent: i.Moisture, NitrogenPercent: i.Nitrogen, PriceMinorPerTonne: i.PriceCents, Gypsum: i.Gypsum,
	}
	switch {
	case i.Carbon != nil:
		out.Carbon = &compostlotv1.Ingredient_CarbonPercent{CarbonPercent: *i.Carbon}
	case i.Ash != nil:
		out.Carbon = &compostlotv1.Ingredient_AshPercent{AshPercent: *i.Ash}
	case i.CN != nil:
		out.Carbon = &compostlotv1.Ingredient_CnRatio{CnRatio: *i.CN}
	}
	return out
}

// readParts reads the parts of a mix; path is that of the list.
func readParts(path string, in []*compostlotv1.RecipePart) ([]blend.Part, error) {
	out := make([]blend.Part, len(in))
	for i, p := range in {
		at := fmt.Sprintf("%s[%d]", path, i)
		g, err := grams(at+".mass", p.GetMass())
		if err != nil {
			return nil, err
		}
		out[i] = blend.Part{Ingredient: ingredient(p.GetIngredient()), Grams: g}
		if err := out[i].Ingredient.Check(); err != nil {
			return nil, recipeFault(err, at+".ingredient")
		}
	}
	return out, nil
}

var standings = map[blend.Standing]compostlotv1.GypsumStanding_Standing{
	blend.Below:  compostlotv1.GypsumStanding_STANDING_BELOW,
	blend.Within: compostlotv1.GypsumStanding_STANDING_WITHIN,
	blend.Above:  compostlotv1.GypsumStanding_STANDING_ABOVE,
}

func mixMessage(m blend.Mix, unit compostlotv1.MassUnit) (*compostlotv1.Mix, error) {
	wet, err := mass(m.WetGrams, unit)
	if err != nil {
		return nil, err
	}
	dry, err := mass(int64(m.DryGrams+0.5), unit)
	if err != nil {
		return nil, err
	}
	out := &compostlotv1.Mix{
		Wet: wet, Dry: dry, MoisturePercent: m.Moisture, NitrogenPercent: m.Nitrogen, CarbonPercent: m.Carbon, CnRatio: m.CN,
		CostMinor: m.CostCents, CostMinorPerTonne: m.CostCentsPerTonne, GypsumKgPerTonne: m.GypsumKgPerTonne,
	}
	if m.GypsumKgPerTonne == nil {
		return out, nil
	}
	for _, b := range blend.GypsumBands() {
		out.GypsumBands = append(out.GypsumBands, &compostlotv1.GypsumStanding{
			Band: b.Name, LowKgPerTonne: b.Low, HighKgPerTonne: b.High, Standing: standings[b.Judge(*m.GypsumKgPerTonne)],
			Source: b.Source + " (" + b.Seen + ")",
		})
	}
	return out, nil
}

// recipeFault turns an error of the blending rules into a fault about a field.
func recipeFault(err error, path string) error {
	var (
		invalid     *blend.InvalidError
		unreachable *blend.UnreachableError
		infeasible  *blend.InfeasibleError
	)
	switch {
	case errors.As(err, &unreachable):
		return fault.New(fault.Precondition, ReasonOutOfReach, "%v", unreachable).WithField(path, "%v", unreachable).
			WithMeta("nearest", fmt.Sprintf("%.6g", unreachable.Nearest)).WithMeta("nearestGrams", fmt.Sprint(unreachable.Grams)).WithCause(err)
	case errors.As(err, &infeasible):
		out := fault.New(fault.Precondition, ReasonOutOfReach, "%v", infeasible).WithMeta("nearest", recipeText(infeasible.Nearest)).WithCause(err)
		for _, missed := range infeasible.Missed {
			out = out.WithField(path, "%s", missed)
		}
		return out
	case errors.As(err, &invalid):
		return fault.InvalidField(path, "%v", invalid).WithCause(err)
	}
	return err
}

// recipeText writes a recipe in one line.
func recipeText(r blend.Recipe) string {
	text := ""
	for _, p := range r.Parts {
		text += fmt.Sprintf("%s %.3f kg; ", p.Ingredient.Name, float64(p.Grams)/1000)
	}
	text += fmt.Sprintf("moisture %.2f %%", r.Mix.Moisture)
	if r.Mix.Nitrogen != nil {
		text += fmt.Sprintf(", nitrogen %.3f %%", *r.Mix.Nitrogen)
	}
	if r.Mix.CN != nil {
		text += fmt.Sprintf(", C:N %.2f", *r.Mix.CN)
	}
	if r.Mix.GypsumKgPerTonne != nil {
		text += fmt.Sprintf(", gypsum %.1f kg/t", *r.Mix.GypsumKgPerTonne)
	}
	return text
}
