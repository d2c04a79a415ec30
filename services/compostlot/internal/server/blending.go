package server

import (
	"context"
	"fmt"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/blend"
	"breakshare.example/services/platform/fault"
)

// BlendRecipe implements CompostLotService.
func (s *Server) BlendRecipe(_ context.Context, req *compostlotv1.BlendRecipeRequest) (*compostlotv1.BlendRecipeResponse, error) {
	parts, err := readParts("parts", req.GetParts())
	if err != nil {
		return nil, err
	}
	out, unit := &compostlotv1.BlendRecipeResponse{}, req.GetShowUnit()
	switch task := req.GetTask().(type) {
	case *compostlotv1.BlendRecipeRequest_Solve:
		part, err := solveFor(parts, task.Solve)
		if err != nil {
			return nil, err
		}
		parts = append(parts, part)
		if out.Solved, err = mass(part.Grams, unit); err != nil {
			return nil, err
		}
	case *compostlotv1.BlendRecipeRequest_Cheapest:
		if len(parts) > 0 {
			return nil, fault.InvalidField("parts", "must be empty where the cheapest recipe is asked for: give each as an offer with its least mass")
		}
		recipe, err := cheapest(task.Cheapest)
		if err != nil {
			return nil, err
		}
		parts, out.Binds = recipe.Parts, recipe.Binds
	}
	if req.WaterToMoisturePercent != nil {
		need, err := blend.WaterNeed(parts, req.GetWaterToMoisturePercent())
		if err != nil {
			return nil, recipeFault(err, "water_to_moisture_percent")
		}
		parts = append(parts, blend.Part{Ingredient: blend.Water(), Grams: need})
		if out.Water, err = mass(need, waterUnit(unit)); err != nil {
			return nil, err
		}
	}
	mix, err := blend.Of(parts)
	if err != nil {
		return nil, recipeFault(err, "parts")
	}
	if out.Mix, err = mixMessage(mix, unit); err != nil {
		return nil, err
	}
	out.Parts, err = partMessages(parts, func(int) compostlotv1.MassUnit { return unit })
	return out, err
}

func solveFor(parts []blend.Part, m *compostlotv1.SolveForIngredient) (blend.Part, error) {
	stock, err := optionalGrams("solve.stock", m.GetStock())
	if err != nil {
		return blend.Part{}, err
	}
	with := ingredient(m.GetIngredient())
	if err := with.Check(); err != nil {
		return blend.Part{}, recipeFault(err, "solve.ingredient")
	}
	g, err := blend.Solve(parts, with, blend.Goal{Property: blend.Property(m.GetProperty()), Value: m.GetValue()}, stock)
	if err != nil {
		return blend.Part{}, recipeFault(err, "solve.value")
	}
	return blend.Part{Ingredient: with, Grams: g}, nil
}

func cheapest(m *compostlotv1.CheapestRecipe) (blend.Recipe, error) {
	wet, err := grams("cheapest.batch", m.GetBatch())
	if err != nil {
		return blend.Recipe{}, err
	}
	in := blend.Batch{WetGrams: wet}
	for i, o := range m.GetOffers() {
		path := fmt.Sprintf("cheapest.offers[%d]", i)
		offer := blend.Offer{Ingredient: ingredient(o.GetIngredient())}
		if err := offer.Ingredient.Check(); err != nil {
			return blend.Recipe{}, recipeFault(err, path+".ingredient")
		}
		if offer.MostGrams, err = optionalGrams(path+".most", o.GetMost()); err != nil {
			return blend.Recipe{}, err
		}
		least, err := optionalGrams(path+".least", o.GetLeast())
		if err != nil {
			return blend.Recipe{}, err
		}
		if least != nil {
			offer.LeastGrams = *least
		}
		in.Offers = append(in.Offers, offer)
	}
	for _, b := range m.GetBounds() {
		in.Bounds = append(in.Bounds, blend.Bound{Property: blend.Property(b.GetProperty()), Low: b.Low, High: b.High})
	}
	recipe, err := blend.Cheapest(in)
	return recipe, recipeFault(err, "cheapest.bounds")
}

// partMessages writes parts, each in its unit.
func partMessages(parts []blend.Part, unit func(i int) compostlotv1.MassUnit) ([]*compostlotv1.RecipePart, error) {
	out := make([]*compostlotv1.RecipePart, len(parts))
	for i, p := range parts {
		m, err := mass(p.Grams, unit(i))
		if err != nil {
			return nil, err
		}
		out[i] = &compostlotv1.RecipePart{Ingredient: ingredientMessage(p.Ingredient), Mass: m}
	}
	return out, nil
}
