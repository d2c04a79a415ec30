package web

import (
	"math"
	"net/url"
	"strconv"
	"strings"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// recipesPage is a yard's recipes, and one of them, or a new one, being planned.
type recipesPage struct {
	Form     *form
	Done     bool
	MayWrite bool
	Recipes  *table // nil where there are none

	ID, Name input
	Etag     string
	Rows     []recipeRow
	Count    int // rows of the form

	Water      input
	SolveFor   []stageChoice // rows; Key is the ingredient's name
	Properties []stageChoice
	Goal       input
	Batch      input
	BatchUnits []stageChoice
	Bounds     []boundRow

	Result *recipeResult
}

// recipeRow is an ingredient of the form.
type recipeRow struct {
	Number                                  int
	Name, Mass, Moisture, Nitrogen, Carbon  input
	Price, Least, Most                      input
	UnitName, StatedName, GypsumName, Title string
	Units, Stated                           []stageChoice
	Gypsum                                  bool
}

// boundRow is a range that the cheapest recipe must keep.
type boundRow struct {
	Key       string
	Low, High input
}

// recipeResult is what a mix holds, and what was worked out for it.
type recipeResult struct {
	Wet, Dry, Moisture, Nitrogen, Carbon, Ratio string // empty where not known
	Cost, CostPerTonne, Gypsum                  string
	Bands                                       []bandRow
	Solved, Water                               string // empty where not asked for
	Parts                                       []partAmount
	Binds                                       []string
}

// bandRow is where the gypsum lies against one published band.
type bandRow struct{ Key, Band, Source string }

// partAmount is what goes in of an ingredient.
type partAmount struct{ Name, Amount string }

const (
	leastRows      = 4  // of a new recipe
	blankRows      = 1  // behind those that are filled
	mostRecipeRows = 30 // more does no yard mix
)

// showRecipes shows the yard's recipes and the form to plan one.
func (p *Pages) showRecipes(v *visit, f *form) (view, error) { return p.recipesWith(v, f, nil) }

func (p *Pages) recipesWith(v *visit, f *form, result *recipeResult) (view, error) {
	page := recipesPage{
		Form: f, Done: v.r.URL.Query().Get("done") != "", Result: result,
		MayWrite: v.who.Role == identity.YardManager,
	}
	var (
		res *compostlotv1.ListRecipesResponse
		n   names
	)
	err := together(v.ctx,
		ask(&res, p.compostlot.ListRecipes, &compostlotv1.ListRecipesRequest{YardId: v.who.YardID}),
		p.naming(&n, yardNames),
	)
	if err != nil {
		return view{}, err
	}
	if len(res.GetRecipes()) > 0 {
		page.Recipes = recipesTable(v, res.GetRecipes(), n)
	}
	shown := &compostlotv1.Recipe{}
	if id := v.r.FormValue("recipe"); id != "" {
		for _, r := range res.GetRecipes() {
			if r.GetRecipeId() == id {
				shown = r
			}
		}
		if shown.GetRecipeId() == "" {
			return view{}, fault.New(fault.NotFound, "NO_RECIPE", "%s", v.words.T("recipes.unknown", id))
		}
		if result == nil && f.values == nil {
			page.Result = v.resultOf(&compostlotv1.BlendRecipeResponse{Parts: shown.GetParts(), Mix: shown.GetMix()})
		}
	}
	page.fill(v, f, shown)
	if f.Stale { // what is sent again changes the newest
		for _, r := range res.GetRecipes() {
			if r.GetRecipeId() == page.ID.Value {
				page.Etag = r.GetEtag()
			}
		}
	}
	return view{template: "recipes", title: "recipes.title", data: page}, nil
}

func recipesTable(v *visit, recipes []*compostlotv1.Recipe, n names) *table {
	t := &table{ID: "recipes", Caption: v.words.T("recipes.title"), Columns: []column{
		{Key: "recipes.name", Name: "name"}, {Key: "trace.yard", Name: "yard"}, {Key: "recipes.nitrogen", Name: "nitrogen_thousandths", Figures: true},
		{Key: "recipes.ratio", Name: "cn_thousandths", Figures: true}, {Key: "recipes.changed", Name: "changed_at"},
	}}
	figureOf := func(x *float64) cell {
		if x == nil {
			return none()
		}
		return figure(thousandths(*x), v.words.Exact(thousandths(*x)))
	}
	for _, r := range recipes {
		if r.GetMix() == nil {
			r.Mix = &compostlotv1.Mix{}
		}
		t.Rows = append(t.Rows, []cell{
			name(r.GetName()).to("/recipes?recipe=" + url.QueryEscape(r.GetRecipeId())), name(nameOf(n.yards, r.GetYardId())),
			figureOf(r.GetMix().NitrogenPercent), figureOf(r.GetMix().CnRatio), v.instant(r.GetChangedAt().AsTime()),
		})
	}
	return v.table(t)
}

func thousandths(x float64) int64 { return int64(math.Round(x * 1000)) }

// fill makes the fields, with what was typed or what the recipe holds.
func (page *recipesPage) fill(v *visit, f *form, r *compostlotv1.Recipe) {
	field := func(kind, name, label, value, unit string) input {
		return newInput(f, "recipe", kind, name, label, value, unit)
	}
	page.ID = field("text", "recipe_id", v.words.T("recipes.id"), r.GetRecipeId(), "")
	page.Name = field("text", "name", v.words.T("recipes.name"), r.GetName(), "")
	page.Etag = f.Value("etag", r.GetEtag())
	page.Count = recipeRows(f, len(r.GetParts()))
	for i := range page.Count {
		part := &compostlotv1.RecipePart{}
		if i < len(r.GetParts()) {
			part = r.GetParts()[i]
		}
		page.Rows = append(page.Rows, rowOf(v, f, i, part))
	}
	page.Water = field("kg", "water", v.words.T("recipes.water_to"), "", "%")
	chosen := f.Value("solve_for", "")
	for i, row := range page.Rows {
		if row.Name.Value != "" {
			page.SolveFor = append(page.SolveFor, stageChoice{strconv.Itoa(i), row.Name.Value, chosen == strconv.Itoa(i)})
		}
	}
	for _, property := range properties {
		unit := property.unit
		if property.property == compostlotv1.RecipeProperty_RECIPE_PROPERTY_GYPSUM {
			unit = v.words.MassUnit()
		}
		key := "recipes.property." + property.word
		page.Properties = append(page.Properties, stageChoice{property.word, key, f.Value("property", "nitrogen") == property.word})
		page.Bounds = append(page.Bounds, boundRow{
			Key: key,
			Low: field("kg", "low_"+property.word, v.words.T("recipes.at_least"), "", unit), High: field("kg", "high_"+property.word, v.words.T("recipes.at_most"), "", unit),
		})
	}
	page.Goal = field("kg", "goal", v.words.T("recipes.goal"), "", "")
	page.Batch = field("kg", "batch", v.words.T("recipes.batch"), "", "")
	page.BatchUnits = v.unitChoices(f.Value("batch_unit", defaultUnit(v)))
}

// recipeRows is how many rows the form has.
func recipeRows(f *form, parts int) int {
	rows := max(leastRows, parts+blankRows)
	if n, err := strconv.Atoi(f.Value("rows", "")); err == nil && n > rows {
		rows = n
	}
	return min(rows, mostRecipeRows)
}

func rowOf(v *visit, f *form, i int, part *compostlotv1.RecipePart) recipeRow {
	at := "_" + strconv.Itoa(i)
	in := part.GetIngredient()
	known := in.GetName() != ""
	text := func(x float64, ok bool) string {
		if !ok {
			return ""
		}
		return v.words.Exact(thousandths(x))
	}
	field := func(kind, name, label, value, unit string) input {
		return newInput(f, "recipe", kind, name+at, v.words.T(label), value, unit)
	}
	carbon, stated := 0.0, ""
	switch c := in.GetCarbon().(type) {
	case *compostlotv1.Ingredient_CarbonPercent:
		carbon, stated = c.CarbonPercent, "carbon"
	case *compostlotv1.Ingredient_AshPercent:
		carbon, stated = c.AshPercent, "ash"
	case *compostlotv1.Ingredient_CnRatio:
		carbon, stated = c.CnRatio, "ratio"
	}
	price := ""
	if known {
		price = v.words.Exact(v.words.PerTonne(in.GetPriceMinorPerTonne()) * 10)
	}
	amount, unit := 0.0, defaultUnit(v)
	if known {
		shown := v.weighed(part.GetMass())
		amount, unit = shown.GetAmount(), unitWord(shown.GetUnit())
	}
	row := recipeRow{
		Number: i + 1, UnitName: "unit" + at, StatedName: "stated" + at, GypsumName: "gypsum" + at,
		Name: field("text", "ingredient", "lot.ingredient", in.GetName(), ""), Mass: field("kg", "mass", "recipes.mass", text(amount, known), ""),
		Moisture: field("kg", "moisture", "recipes.moisture", text(in.GetMoisturePercent(), known), "%"), Nitrogen: field("kg", "nitrogen", "recipes.nitrogen", text(in.GetNitrogenPercent(), known && in.NitrogenPercent != nil), "%"),
		Carbon: field("kg", "carbon", "recipes.carbon_value", text(carbon, stated != ""), ""), Price: field("kg", "price", "slots.price", price, v.coop.GetCurrencyCode()),
		Least: field("kg", "least", "recipes.at_least", "", ""), Most: field("kg", "most", "recipes.stock", "", ""),
		Units: v.unitChoices(f.Value("unit"+at, unit)),
	}
	for _, word := range []string{"carbon", "ash", "ratio"} {
		row.Stated = append(row.Stated, stageChoice{word, "recipes.stated." + word, f.Value("stated"+at, nameOr(stated, "carbon")) == word})
	}
	row.Gypsum = in.GetGypsum()
	if f.values != nil {
		row.Gypsum = f.Value("gypsum"+at, "") != ""
	}
	return row
}

// massUnits are the units of the form, in its order: all for a yard that weighs in kilograms,
// for its suppliers may not; those of the pound for one that weighs in pounds.
var massUnits = []compostlotv1.MassUnit{
	compostlotv1.MassUnit_MASS_UNIT_KILOGRAM, compostlotv1.MassUnit_MASS_UNIT_TONNE, compostlotv1.MassUnit_MASS_UNIT_POUND,
	compostlotv1.MassUnit_MASS_UNIT_SHORT_TON, compostlotv1.MassUnit_MASS_UNIT_GALLON_OF_WATER,
}

// weighed is a mass in a unit that the co-op's form has.
func (v *visit) weighed(m *compostlotv1.Mass) *compostlotv1.Mass {
	to := m.GetUnit()
	if v.words.Units().Pounds {
		switch to {
		case compostlotv1.MassUnit_MASS_UNIT_KILOGRAM:
			to = compostlotv1.MassUnit_MASS_UNIT_POUND
		case compostlotv1.MassUnit_MASS_UNIT_TONNE:
			to = compostlotv1.MassUnit_MASS_UNIT_SHORT_TON
		}
	}
	if to == m.GetUnit() {
		return m
	}
	return &compostlotv1.Mass{Amount: m.GetAmount() * gramsIn(m.GetUnit()) / gramsIn(to), Unit: to}
}

// gypsumParts is how many of the co-op's units of gypsum in its unit of compost are one kilogram
// in a tonne: a thousandth is 2 lb in a short ton.
func (v *visit) gypsumParts() float64 {
	if v.words.Units().Pounds {
		return 2
	}
	return 1
}

func unitWord(u compostlotv1.MassUnit) string {
	return strings.ToLower(strings.TrimPrefix(u.String(), "MASS_UNIT_"))
}

func unitOfWord(word string) compostlotv1.MassUnit {
	return compostlotv1.MassUnit(compostlotv1.MassUnit_value["MASS_UNIT_"+strings.ToUpper(word)])
}

func (v *visit) unitChoices(chosen string) []stageChoice {
	var out []stageChoice
	for _, u := range massUnits {
		if v.weighed(&compostlotv1.Mass{Unit: u}).GetUnit() != u {
			continue
		}
		out = append(out, stageChoice{unitWord(u), "massunit." + unitWord(u), unitWord(u) == chosen})
	}
	return out
}

// defaultUnit is the unit of compost that the co-op prefers.
func defaultUnit(v *visit) string {
	if v.words.Units().Pounds {
		return "short_ton"
	}
	return "tonne"
}

// amount is a mass in its unit.
func (v *visit) amount(m *compostlotv1.Mass) string {
	m = v.weighed(m)
	return v.words.Exact(thousandths(m.GetAmount())) + " " + v.words.T("massunit."+unitWord(m.GetUnit()))
}

// resultOf is an answer as the page shows it.
func (v *visit) resultOf(res *compostlotv1.BlendRecipeResponse) *recipeResult {
	mix := res.GetMix()
	percent := func(x *float64) string {
		if x == nil {
			return ""
		}
		return v.words.Exact(int64(math.Round(*x*100))*10) + " %"
	}
	out := &recipeResult{
		Wet: v.amount(mix.GetWet()), Dry: v.amount(mix.GetDry()), Moisture: percent(&mix.MoisturePercent), Nitrogen: percent(mix.NitrogenPercent), Carbon: percent(mix.CarbonPercent),
		Cost:         v.words.Money(mix.GetCostMinor(), v.coop.GetCurrencyCode()),
		CostPerTonne: v.words.Money(v.words.PerTonne(mix.GetCostMinorPerTonne()), v.coop.GetCurrencyCode()), Binds: res.GetBinds(),
	}
	if mix.CnRatio != nil {
		out.Ratio = v.words.Tenths(thousandths(mix.GetCnRatio()))
	}
	if mix.GypsumKgPerTonne != nil {
		out.Gypsum = v.words.Tenths(thousandths(mix.GetGypsumKgPerTonne() * v.gypsumParts()))
	}
	for _, b := range mix.GetGypsumBands() {
		key := "recipes.gypsum." + strings.ToLower(strings.TrimPrefix(b.GetStanding().String(), "STANDING_"))
		out.Bands = append(out.Bands, bandRow{key, b.GetBand(), b.GetSource()})
	}
	for _, part := range res.GetParts() {
		out.Parts = append(out.Parts, partAmount{part.GetIngredient().GetName(), v.amount(part.GetMass())})
	}
	if res.GetSolved() != nil {
		out.Solved = v.amount(res.GetSolved())
	}
	if res.GetWater() != nil {
		out.Water = v.amount(res.GetWater())
	}
	return out
}
