package fakecoop

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// Yard is what the co-op's yards keep beside slots and lots.
type Yard struct {
	Recipes []*compostlotv1.Recipe
	// Blends are what was asked to be worked out.
	Blends []*compostlotv1.BlendRecipeRequest
	// Stored are the readings that were recorded.
	Stored []*compostlotv1.Reading
	// Refused is what probes published in vain.
	Refused []*typev1.RefusedReading
	// RefusedInRooms is what instruments in rooms did.
	RefusedInRooms []*typev1.RefusedReading
	// MustProve is what lots of phases two and three must prove.
	MustProve *compostlotv1.ReleaseRules
}

func (c *Coop) fillRecipes() {
	c.Refused = []*typev1.RefusedReading{{
		Topic: "readings/" + ID + "/compostlot/quarry-end/quarry-end-26-41/p01/noise", Payload: "<12>", Reason: "noise is not measured at lots", ReceivedAt: at(Today, 9),
	}}
	c.RefusedInRooms = []*typev1.RefusedReading{{
		Topic: "readings/" + ID + "/harvest/alder-brook/alder-brook-1/humidity", Payload: "101", Reason: "humidity of 101 cannot be: correct the instrument", ReceivedAt: at(Today, 10),
	}, {
		Topic: "readings/" + ID + "/harvest/birch-hollow/birch-hollow-1/ammonia", Payload: "3", Reason: "ammonia is not measured in rooms", ReceivedAt: at(Today, 8),
	}}
	nitrogen := 0.6
	c.Recipes = []*compostlotv1.Recipe{{
		RecipeId: "straw-and-litter", YardId: "quarry-end", Name: "Straw and litter", Version: 3, Etag: "v3", ChangedBy: "Hugh", ChangedAt: at("2026-11-02", 8),
		Parts: []*compostlotv1.RecipePart{{
			Ingredient: &compostlotv1.Ingredient{Name: "wheat straw", MoisturePercent: 15, NitrogenPercent: &nitrogen, Carbon: &compostlotv1.Ingredient_AshPercent{AshPercent: 8}, PriceMinorPerTonne: 4550},
			Mass:       &compostlotv1.Mass{Amount: 12, Unit: compostlotv1.MassUnit_MASS_UNIT_TONNE, Grams: 12_000_000},
		}},
		Mix: mixOf(12),
	}}
}

// mixOf is a mix of so many tonnes that holds what this co-op's mixes hold.
func mixOf(tonnes float64) *compostlotv1.Mix {
	nitrogen, ratio, gypsum := 1.573, 30.26, 21.4
	tonne := func(x float64) *compostlotv1.Mass {
		return &compostlotv1.Mass{Amount: x, Unit: compostlotv1.MassUnit_MASS_UNIT_TONNE, Grams: int64(x * 1e6)}
	}
	return &compostlotv1.Mix{
		Wet: tonne(tonnes), Dry: tonne(tonnes * 0.85), MoisturePercent: 15, NitrogenPercent: &nitrogen, CnRatio: &ratio, CostMinor: 54_600, CostMinorPerTonne: 4550, GypsumKgPerTonne: &gypsum,
		GypsumBands: []*compostlotv1.GypsumStanding{{Band: "40 lb per ton", Standing: compostlotv1.GypsumStanding_STANDING_ABOVE, Source: "an older leaflet"}},
	}
}

func (l *compostlot) ListRecipes(context.Context, *compostlotv1.ListRecipesRequest) (*compostlotv1.ListRecipesResponse, error) {
	return read(l.c, "ListRecipes", func() (*compostlotv1.ListRecipesResponse, error) {
		res := &compostlotv1.ListRecipesResponse{}
		for _, r := range l.c.Recipes {
			res.Recipes = append(res.Recipes, proto.CloneOf(r))
		}
		return res, nil
	})
}

func (l *compostlot) SaveRecipe(ctx context.Context, req *compostlotv1.SaveRecipeRequest) (*compostlotv1.Recipe, error) {
	return once(l.c, "SaveRecipe", req, func() (*compostlotv1.Recipe, error) {
		saved := proto.CloneOf(req.GetRecipe())
		for i, r := range l.c.Recipes {
			if r.GetRecipeId() != saved.GetRecipeId() {
				continue
			}
			if r.GetEtag() != saved.GetEtag() {
				return nil, fault.New(fault.Stale, "CHANGED_MEANWHILE", "Recipe %s was changed by Hugh.", saved.GetRecipeId()).WithField("recipe.etag", "is not that of the newest version")
			}
			l.c.Recipes = append(l.c.Recipes[:i], l.c.Recipes[i+1:]...)
			break
		}
		saved.Version, saved.Etag, saved.ChangedBy, saved.ChangedAt, saved.Mix = 1, "v1", identity.Must(ctx).Name, at(Today, 14), mixOf(1)
		l.c.Recipes = append(l.c.Recipes, saved)
		return saved, nil
	})
}

// BlendRecipe answers with what this co-op's mixes hold: a tonne and a half of what is solved
// for, 11 tonnes of water, and of the cheapest the first offer alone.
func (l *compostlot) BlendRecipe(_ context.Context, req *compostlotv1.BlendRecipeRequest) (*compostlotv1.BlendRecipeResponse, error) {
	return read(l.c, "BlendRecipe", func() (*compostlotv1.BlendRecipeResponse, error) {
		l.c.Blends = append(l.c.Blends, proto.CloneOf(req))
		for i, p := range req.GetParts() {
			if p.GetIngredient().NitrogenPercent == nil && p.GetIngredient().GetMoisturePercent() < 100 {
				return nil, fault.InvalidField(fmt.Sprintf("parts[%d].ingredient.nitrogen_percent", i), "is needed of what has dry matter")
			}
		}
		res := &compostlotv1.BlendRecipeResponse{Parts: req.GetParts(), Mix: mixOf(12)}
		if s := req.GetSolve(); s != nil {
			if s.GetValue() > 4 {
				return nil, fault.New(fault.Precondition, "OUT_OF_REACH", "The goal cannot be reached; the nearest is 3.2 %%.").WithField("solve.value", "the nearest is 3.2 %%")
			}
			res.Solved = &compostlotv1.Mass{Amount: 1.5, Unit: compostlotv1.MassUnit_MASS_UNIT_TONNE, Grams: 1_500_000}
			res.Parts = append(res.Parts, &compostlotv1.RecipePart{Ingredient: s.GetIngredient(), Mass: res.Solved})
		}
		if ask := req.GetCheapest(); ask != nil {
			mass := &compostlotv1.Mass{Amount: ask.GetBatch().GetAmount(), Unit: ask.GetBatch().GetUnit(), Grams: 40_000_000}
			res.Parts, res.Binds = []*compostlotv1.RecipePart{{Ingredient: ask.GetOffers()[0].GetIngredient(), Mass: mass}}, []string{"Nitrogen lies at its lower end."}
		}
		if req.WaterToMoisturePercent != nil {
			res.Water = &compostlotv1.Mass{Amount: 11, Unit: compostlotv1.MassUnit_MASS_UNIT_TONNE, Grams: 11_000_000}
			res.Parts = append(res.Parts, &compostlotv1.RecipePart{Ingredient: &compostlotv1.Ingredient{Name: "water", MoisturePercent: 100}, Mass: res.Water})
		}
		return res, nil
	})
}
