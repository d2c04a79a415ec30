package server_test

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

const (
	kg       = compostlotv1.MassUnit_MASS_UNIT_KILOGRAM
	tonne    = compostlotv1.MassUnit_MASS_UNIT_TONNE
	pound    = compostlotv1.MassUnit_MASS_UNIT_POUND
	shortTon = compostlotv1.MassUnit_MASS_UNIT_SHORT_TON
	gallon   = compostlotv1.MassUnit_MASS_UNIT_GALLON_OF_WATER
)

// dryPart is an ingredient by its wet and dry tonnes and the nitrogen of its dry matter.
func dryPart(name string, wet, dry, nitrogen float64) *compostlotv1.RecipePart {
	return &compostlotv1.RecipePart{
		Ingredient: &compostlotv1.Ingredient{Name: name, MoisturePercent: 100 * (wet - dry) / wet, NitrogenPercent: &nitrogen, Gypsum: name == "gypsum", PriceMinorPerTonne: 2000},
		Mass:       &compostlotv1.Mass{Amount: wet, Unit: tonne},
	}
}

// horseManurePile is the first worked formula of Penn State, Substrate Preparation for White
// Button Mushrooms, fact sheet, 2023, section II: 0.94 t of nitrogen in 59.75 t dry, 1.57 %.
func horseManurePile() []*compostlotv1.RecipePart {
	return []*compostlotv1.RecipePart{
		dryPart("horse manure", 80, 50, 1.2), dryPart("poultry manure", 7.5, 6, 4), dryPart("brewers' grains", 2.5, 2.5, 4), dryPart("gypsum", 1.25, 1.25, 0),
	}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.Abs(got-want) > within {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

// The published formula through the call, with the water that brings it to 72 %: 122.1 t
// (reckoned from the formula's dry matter: the source prints no water).
func TestBlendOfPublishedFormula(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	got := must[*compostlotv1.BlendRecipeResponse](t)(r.BlendRecipe(r.office(t), &compostlotv1.BlendRecipeRequest{
		Parts: horseManurePile(), WaterToMoisturePercent: new(72.0), ShowUnit: tonne,
	}))
	near(t, "nitrogen", got.GetMix().GetNitrogenPercent(), 1.5732, 0.0005)
	near(t, "dry tonnes", got.GetMix().GetDry().GetAmount(), 59.75, 0.001)
	near(t, "water", got.GetWater().GetAmount(), 122.1, 0.1)
	near(t, "moisture", got.GetMix().GetMoisturePercent(), 72, 0.001)
	if got.GetMix().CnRatio != nil {
		t.Error("a C:N although nobody stated carbon")
	}
	// 1.25 t in 58.5 t of other dry matter is 21.4 kg a tonne: the older wording's 20 kg, to
	// more than half a kilogram, and below the newer 35 to 50.
	bands := map[string]string{}
	for _, b := range got.GetMix().GetGypsumBands() {
		bands[b.GetBand()] = b.GetStanding().String()
		if b.GetSource() == "" {
			t.Errorf("band %s has no source", b.GetBand())
		}
	}
	if diff := cmp.Diff(map[string]string{"70-100 lb per ton": "STANDING_BELOW", "40 lb per ton": "STANDING_ABOVE"}, bands); diff != "" {
		t.Errorf("gypsum (-want +got):\n%s", diff)
	}
	if n := len(got.GetParts()); n != 5 || got.GetParts()[4].GetIngredient().GetName() != "water" {
		t.Errorf("%d parts", n)
	}
}

// The same recipe weighed in other units is the same recipe, and its water in gallons too.
func TestUnitsDoNotChangeTheAnswer(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	ask := func(unit compostlotv1.MassUnit, gramsPer float64) *compostlotv1.BlendRecipeResponse {
		parts := horseManurePile()
		for _, p := range parts {
			p.Mass = &compostlotv1.Mass{Amount: p.GetMass().GetAmount() * 1e6 / gramsPer, Unit: unit}
		}
		return must[*compostlotv1.BlendRecipeResponse](t)(r.BlendRecipe(r.office(t), &compostlotv1.BlendRecipeRequest{
			Parts: parts, WaterToMoisturePercent: new(72.0), ShowUnit: unit,
			Task: &compostlotv1.BlendRecipeRequest_Solve{Solve: &compostlotv1.SolveForIngredient{
				Ingredient: &compostlotv1.Ingredient{Name: "poultry manure", MoisturePercent: 20, NitrogenPercent: new(4.0)},
				Property:   compostlotv1.RecipeProperty_RECIPE_PROPERTY_NITROGEN, Value: 1.7,
			}},
		}))
	}
	want := ask(tonne, 1e6)
	near(t, "nitrogen reached", want.GetMix().GetNitrogenPercent(), 1.7, 1e-5)
	for unit, per := range map[compostlotv1.MassUnit]float64{kg: 1000, pound: 453.59237, shortTon: 907_184.74} {
		got := ask(unit, per)
		if got.GetSolved().GetGrams() != want.GetSolved().GetGrams() || got.GetWater().GetGrams() != want.GetWater().GetGrams() {
			t.Errorf("in %v %d g and %d g of water, want %d and %d", unit, got.GetSolved().GetGrams(), got.GetWater().GetGrams(), want.GetSolved().GetGrams(), want.GetWater().GetGrams())
		}
		near(t, "solved", got.GetSolved().GetAmount()*per, float64(want.GetSolved().GetGrams()), 0.01)
		if unit == shortTon && got.GetWater().GetUnit() != gallon {
			t.Errorf("water in %v", got.GetWater().GetUnit())
		}
	}
}

func straw(price int64) *compostlotv1.Ingredient {
	return &compostlotv1.Ingredient{Name: "straw", MoisturePercent: 15, NitrogenPercent: new(0.6), Carbon: &compostlotv1.Ingredient_AshPercent{AshPercent: 8}, PriceMinorPerTonne: price}
}

func manure(price int64) *compostlotv1.Ingredient {
	return &compostlotv1.Ingredient{Name: "poultry manure", MoisturePercent: 25, NitrogenPercent: new(4.0), Carbon: &compostlotv1.Ingredient_CnRatio{CnRatio: 8}, PriceMinorPerTonne: price}
}

// Straw is the cheaper one, so just so much manure goes in as the nitrogen asks for; that
// bound is named. With too little of it the goal is out of reach, and the nearest is told.
func TestCheapestRecipe(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	ask := &compostlotv1.CheapestRecipe{
		Batch:  &compostlotv1.Mass{Amount: 10, Unit: tonne},
		Offers: []*compostlotv1.RecipeOffer{{Ingredient: straw(6000)}, {Ingredient: manure(9000), Most: &compostlotv1.Mass{Amount: 9, Unit: tonne}}},
		Bounds: []*compostlotv1.RecipeBound{{Property: compostlotv1.RecipeProperty_RECIPE_PROPERTY_NITROGEN, Low: new(1.6)}},
	}
	call := func() (*compostlotv1.BlendRecipeResponse, error) {
		return r.BlendRecipe(r.office(t), &compostlotv1.BlendRecipeRequest{Task: &compostlotv1.BlendRecipeRequest_Cheapest{Cheapest: ask}})
	}
	got := must[*compostlotv1.BlendRecipeResponse](t)(call())
	near(t, "nitrogen", got.GetMix().GetNitrogenPercent(), 1.6, 1e-4)
	near(t, "batch", got.GetMix().GetWet().GetAmount(), 10_000, 0.001)
	if len(got.GetBinds()) == 0 || !strings.Contains(strings.Join(got.GetBinds(), " "), "nitrogen") {
		t.Errorf("binds %v", got.GetBinds())
	}
	ask.GetOffers()[1].Most = &compostlotv1.Mass{Amount: 1, Unit: tonne}
	_, err := call()
	f := refused(t, err, fault.Precondition, "OUT_OF_REACH", "cheapest.bounds")
	if !strings.Contains(f.Meta["nearest"], "poultry manure 1000.000 kg") {
		t.Errorf("nearest %q", f.Meta["nearest"])
	}
	_, err = r.BlendRecipe(r.office(t), &compostlotv1.BlendRecipeRequest{
		Parts: []*compostlotv1.RecipePart{{Ingredient: straw(0), Mass: &compostlotv1.Mass{Amount: 1, Unit: tonne}}},
		Task: &compostlotv1.BlendRecipeRequest_Solve{Solve: &compostlotv1.SolveForIngredient{
			Ingredient: manure(0), Property: compostlotv1.RecipeProperty_RECIPE_PROPERTY_NITROGEN, Value: 5,
		}},
	})
	f = refused(t, err, fault.Precondition, "OUT_OF_REACH", "solve.value")
	if f.Meta["nearest"] == "" {
		t.Error("the nearest is not told")
	}
}

// A recipe is saved in versions; a change needs the etag of what was read.
func TestRecipesAreKept(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.yards(t)
	recipe := &compostlotv1.Recipe{RecipeId: "pile", YardId: "quarry", Name: "Horse manure pile", Parts: horseManurePile()}
	save := func(m *compostlotv1.Recipe) (*compostlotv1.Recipe, error) {
		return r.SaveRecipe(r.office(t), &compostlotv1.SaveRecipeRequest{RequestId: ids.New(), Recipe: m})
	}
	saved := must[*compostlotv1.Recipe](t)(save(recipe))
	if saved.GetVersion() != 1 || saved.GetChangedBy() != "Office" {
		t.Errorf("saved %v", saved)
	}
	near(t, "nitrogen", saved.GetMix().GetNitrogenPercent(), 1.5732, 0.0005)
	if again := must[*compostlotv1.Recipe](t)(save(recipe)); again.GetVersion() != 1 {
		t.Error("an equal recipe made a version")
	}
	recipe.Name = "Pile"
	_, err := save(recipe)
	refused(t, err, fault.Stale, "CHANGED_MEANWHILE", "recipe.etag")
	recipe.Etag = saved.GetEtag()
	recipe.Parts = append(recipe.GetParts(), &compostlotv1.RecipePart{Ingredient: straw(100), Mass: &compostlotv1.Mass{Amount: 2, Unit: shortTon}})
	changed := must[*compostlotv1.Recipe](t)(save(recipe))
	list := must[*compostlotv1.ListRecipesResponse](t)(r.ListRecipes(r.office(t), &compostlotv1.ListRecipesRequest{YardId: "quarry"}))
	if diff := cmp.Diff([]*compostlotv1.Recipe{changed}, list.GetRecipes(), protocmp.Transform()); diff != "" || changed.GetVersion() != 2 {
		t.Errorf("listed (-want +got):\n%s", diff)
	}
	if n := len(must[*compostlotv1.ListRecipesResponse](t)(r.ListRecipes(r.office(t), &compostlotv1.ListRecipesRequest{YardId: "mill"})).GetRecipes()); n != 0 {
		t.Errorf("%d recipes of another yard", n)
	}
	for name, c := range map[string]struct {
		change func(*compostlotv1.Recipe)
		field  string
	}{
		"no nitrogen":  {func(m *compostlotv1.Recipe) { m.Parts[0].Ingredient.NitrogenPercent = nil }, "recipe.parts[0].ingredient"},
		"unknown yard": {func(m *compostlotv1.Recipe) { m.YardId = "hill" }, "recipe.yard_id"},
		"no unit":      {func(m *compostlotv1.Recipe) { m.Parts[1].Mass.Unit = 0 }, "recipe.parts[1].mass.unit"},
		"nothing":      {func(m *compostlotv1.Recipe) { m.Parts = nil }, "recipe.parts"},
	} {
		bad := &compostlotv1.Recipe{RecipeId: "bad", YardId: "quarry", Name: "Bad", Parts: horseManurePile()}
		c.change(bad)
		_, err := save(bad)
		t.Run(name, func(t *testing.T) { refused(t, err, fault.Invalid, "", c.field) })
	}
}
