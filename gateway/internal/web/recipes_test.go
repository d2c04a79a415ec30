package web_test

import (
	"net/http"
	"testing"

	"breakshare.example/gateway/internal/fakecoop"
	"breakshare.example/services/platform/identity"
)

func TestRecipeIsShownWithEveryGypsumBand(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	list := r.get("/recipes").ok()
	list.says("tr", "Straw and litter Quarry End Yard 1.573 30.26").without("#result")
	p := r.get("/recipes?recipe=straw-and-litter").ok()
	p.says("dl.facts", "Nitrogen of dry matter 1.57 %").says("dl.facts", "Carbon to nitrogen 30.3").says("dl.facts", "Cost 546.00 EUR").
		says("h3", "Gypsum: 21.4 kg").says("li", "above 40 lb per ton an older leaflet")
	form := p.form("/recipes")
	for name, want := range map[string]string{
		"ingredient_0": "wheat straw", "mass_0": "12", "unit_0": "tonne", "moisture_0": "15", "nitrogen_0": "0.6", "stated_0": "ash", "carbon_0": "8", "price_0": "45.5", "etag": "v3", "ingredient_1": "",
	} {
		if form.Get(name) != want {
			t.Errorf("%s is %q, want %q", name, form.Get(name), want)
		}
	}
	if r.get("/recipes?recipe=none").status != http.StatusNotFound {
		t.Error("an unknown recipe is shown")
	}
}

// planned is a recipe's form with a second ingredient and what is asked for.
func planned(do string, more map[string]string) map[string]string {
	typed := map[string]string{"ingredient_2": "poultry manure", "mass_2": "1,5", "moisture_2": "25", "nitrogen_2": "4", "unit_2": "short_ton"}
	for name, value := range more {
		typed[name] = value
	}
	typed["do"] = do
	return typed
}

// press is submit with the button that was pressed, which is no field of the form.
func (r *rig) press(p *page, typed map[string]string) *page {
	values := p.form("/recipes")
	for name, value := range typed {
		values.Set(name, value)
	}
	return r.post("/recipes", values)
}

func TestPlanARecipe(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/recipes?recipe=straw-and-litter").ok()

	mixed := r.press(p, planned("mix", map[string]string{"water": "72"})).ok()
	mixed.says("p", "Water to add: 11 t").says("li", "poultry manure 1.5 short tons")
	if got := mixed.form("/recipes"); got.Get("ingredient_2") != "poultry manure" || got.Get("mass_2") != "1,5" || got.Get("water") != "72" {
		t.Errorf("what was typed is gone: %v", got)
	}

	solved := r.press(p, planned("solve", map[string]string{"solve_for": "2", "property": "nitrogen", "goal": "1.7", "most_2": "9"})).ok()
	solved.says("p", "It takes 1.5 t.")
	if got := solved.form("/recipes").Get("mass_2"); got != "1.653" {
		t.Errorf("1.5 t are written as %s short tons, want 1.653", got)
	}
	ask := r.coop.Blends[len(r.coop.Blends)-1].GetSolve()
	if ask.GetIngredient().GetName() != "poultry manure" || ask.GetValue() != 1.7 || ask.GetStock().GetAmount() != 9 || len(r.coop.Blends[len(r.coop.Blends)-1].GetParts()) != 1 {
		t.Errorf("asked %v", ask)
	}
	far := r.press(p, planned("solve", map[string]string{"solve_for": "2", "property": "nitrogen", "goal": "5"}))
	far.says("span.error", "the nearest is 3.2 %")

	cheap := r.press(p, planned("cheapest", map[string]string{"batch": "40", "batch_unit": "tonne", "low_nitrogen": "1.6", "most_0": "50", "least_2": "1"})).ok()
	cheap.says("li", "Nitrogen lies at its lower end.")
	if got := cheap.form("/recipes"); got.Get("mass_0") != "40" || got.Get("mass_2") != "0" {
		t.Errorf("the amounts found are not in the rows: %v", got)
	}
	offers := r.coop.Blends[len(r.coop.Blends)-1].GetCheapest()
	if len(offers.GetOffers()) != 2 || len(offers.GetBounds()) != 1 || offers.GetOffers()[0].GetMost().GetAmount() != 50 || offers.GetOffers()[1].GetLeast().GetAmount() != 1 {
		t.Errorf("asked %v", offers)
	}
	if n := len(all(r.press(p, planned("rows", nil)).ok().root, "legend")) - len(all(p.root, "legend")); n != 1 {
		t.Errorf("%d rows more", n)
	}
}

func TestRecipeFormSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/recipes").ok()
	for name, c := range map[string]struct {
		typed map[string]string
		field string
		says  string
	}{
		"nothing":       {map[string]string{"do": "mix"}, "ingredient_0", "Name at least one"},
		"no moisture":   {planned("mix", map[string]string{"moisture_2": ""}), "moisture_2", "Give the moisture"},
		"no figure":     {planned("mix", map[string]string{"mass_2": "much"}), "mass_2", "much"},
		"the service's": {planned("mix", map[string]string{"nitrogen_2": ""}), "nitrogen_2", "is needed of what has dry matter"},
		"no goal":       {planned("solve", map[string]string{"solve_for": "2"}), "goal", "Give the value"},
		"no row":        {planned("solve", map[string]string{"solve_for": "1", "goal": "2"}), "goal", "Choose an ingredient"},
		"no batch":      {planned("cheapest", nil), "batch", "Give the mass"},
	} {
		got := r.press(p, c.typed)
		if got.status == http.StatusOK {
			t.Errorf("%s: taken", name)
		}
		got.says("#recipe-"+c.field+"-error", c.says)
		if c.typed["ingredient_2"] != "" && got.form("/recipes").Get("ingredient_2") != "poultry manure" {
			t.Errorf("%s: what was typed is gone", name)
		}
	}
}

func TestSaveARecipe(t *testing.T) {
	t.Parallel()
	r := visit(t, manager)
	p := r.get("/recipes?recipe=straw-and-litter").ok()
	stale := r.press(p, planned("save", map[string]string{"etag": "v2"}))
	stale.says(".alert", "Somebody changed this meanwhile")
	if got := stale.form("/recipes").Get("etag"); got != "v3" {
		t.Errorf("sent again it would change %s, want the newest", got)
	}
	for range 2 {
		r.press(p, planned("save", map[string]string{"water": "72"})).ok().says(".done", "Saved.")
	}
	saved := r.coop.Recipes[0]
	if n := len(saved.GetParts()); n != 3 || saved.GetYardId() != "quarry-end" || saved.GetParts()[2].GetIngredient().GetName() != "water" || r.coop.Calls("SaveRecipe") != 3 {
		t.Errorf("saved %v", saved)
	}
	office := visit(t, fakecoop.Who(identity.Coordinator, "")).get("/recipes").ok()
	for _, b := range all(office.root, "button") {
		if attr(b, "value") == "save" {
			t.Error("the office may save a yard's recipe")
		}
	}
}
