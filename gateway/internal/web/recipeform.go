package web

import (
	"maps"
	"net/url"
	"strconv"
	"strings"

	"breakshare.example/gateway/internal/words"
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
)

// properties are what a goal or a bound can be about.
var properties = []struct {
	word, unit string
	property   compostlotv1.RecipeProperty
}{
	{"nitrogen", "%", compostlotv1.RecipeProperty_RECIPE_PROPERTY_NITROGEN},
	{"ratio", "", compostlotv1.RecipeProperty_RECIPE_PROPERTY_CN_RATIO},
	{"moisture", "%", compostlotv1.RecipeProperty_RECIPE_PROPERTY_MOISTURE},
	{"gypsum", "", compostlotv1.RecipeProperty_RECIPE_PROPERTY_GYPSUM},
}

// typedRecipe is what stands in the form: the ingredients with a name, and the row of each.
type typedRecipe struct {
	parts []*compostlotv1.RecipePart
	rows  []int
	water *float64
}

// planRecipe works out what the form asks for, or saves it.
func (p *Pages) planRecipe(v *visit) (view, error) {
	typed, err := v.typedRecipe()
	if err != nil {
		return p.recipeAgain(v, err, typed)
	}
	do := v.r.PostFormValue("do")
	if do == "save" {
		saved, err := p.saveRecipe(v, typed)
		if err != nil {
			return p.recipeAgain(v, err, typed)
		}
		return view{goTo: "/recipes?done=saved&recipe=" + url.QueryEscape(saved.GetRecipeId())}, nil
	}
	shown := &form{RequestID: newForm().RequestID, answered: true, values: maps.Clone(v.r.PostForm)}
	if do == "rows" {
		shown.values["rows"] = []string{strconv.Itoa(min(mostRecipeRows, recipeRows(&form{values: v.r.PostForm}, 0)+blankRows))}
		return p.recipesWith(v, shown, nil)
	}
	request := &compostlotv1.BlendRecipeRequest{Parts: typed.parts, WaterToMoisturePercent: typed.water, ShowUnit: typed.unit(v)}
	var found []int // rows whose masses the answer tells, in its order
	switch do {
	case "solve":
		found, err = v.solveTask(request, typed)
	case "cheapest":
		found, err = v.cheapestTask(request, typed)
	}
	if err != nil {
		return p.recipeAgain(v, err, typed)
	}
	res, err := p.compostlot.BlendRecipe(v.ctx, request)
	if err != nil {
		return p.recipeAgain(v, err, typed)
	}
	v.takeOver(shown.values, do, found, res)
	return p.recipesWith(v, shown, v.resultOf(res))
}

// recipeAgain shows the form again with what was wrong with it.
func (p *Pages) recipeAgain(v *visit, err error, typed typedRecipe) (view, error) {
	return again(v, err, p.showRecipes, func(path string) string { return recipeField(path, typed.rows) })
}

// takeOver writes the masses that were worked out into the form, each in its row's unit.
func (v *visit) takeOver(values url.Values, do string, found []int, res *compostlotv1.BlendRecipeResponse) {
	write := func(row int, grams int64) {
		at := "_" + strconv.Itoa(row)
		values["mass"+at] = []string{v.words.Exact(thousandths(float64(grams) / gramsIn(unitOfWord(values.Get("unit"+at)))))}
	}
	switch do {
	case "solve":
		write(found[0], res.GetSolved().GetGrams())
	case "cheapest":
		for _, row := range found { // an offer that is not in the answer is not used
			values["mass_"+strconv.Itoa(row)] = []string{"0"}
		}
		for _, part := range res.GetParts() {
			for _, row := range found {
				if strings.TrimSpace(values.Get("ingredient_"+strconv.Itoa(row))) == part.GetIngredient().GetName() {
					write(row, part.GetMass().GetGrams())
				}
			}
		}
	}
}

// gramsIn is how many grams a unit has: NIST Handbook 44, appendix C; a gallon is of water at
// 1 kg a litre.
func gramsIn(u compostlotv1.MassUnit) float64 {
	switch u {
	case compostlotv1.MassUnit_MASS_UNIT_TONNE:
		return 1_000_000
	case compostlotv1.MassUnit_MASS_UNIT_POUND:
		return 453.59237
	case compostlotv1.MassUnit_MASS_UNIT_SHORT_TON:
		return 907_184.74
	case compostlotv1.MassUnit_MASS_UNIT_GALLON_OF_WATER:
		return 3785.411784
	}
	return 1000
}

// unit is the one in which an answer is given: that of the first ingredient.
func (t typedRecipe) unit(v *visit) compostlotv1.MassUnit {
	if len(t.parts) > 0 {
		return t.parts[0].GetMass().GetUnit()
	}
	return unitOfWord(defaultUnit(v))
}

// typedRecipe reads the rows that have a name. With an error it returns the rows read so far.
func (v *visit) typedRecipe() (out typedRecipe, err error) {
	for i := range recipeRows(&form{values: v.r.PostForm}, 0) {
		part, ok, err := v.typedPart("_" + strconv.Itoa(i))
		if err != nil {
			return out, err
		}
		if ok {
			out.parts, out.rows = append(out.parts, part), append(out.rows, i)
		}
	}
	if out.water, err = v.figure("water"); err != nil {
		return out, err
	}
	if len(out.parts) == 0 && v.r.PostFormValue("do") != "rows" {
		return out, fault.InvalidField("ingredient_0", "%s", v.words.T("recipes.nothing"))
	}
	return out, nil
}

// typedPart reads one ingredient; ok is false for a row without a name.
func (v *visit) typedPart(at string) (part *compostlotv1.RecipePart, ok bool, err error) {
	in := &compostlotv1.Ingredient{Name: strings.TrimSpace(v.r.PostFormValue("ingredient" + at)), Gypsum: v.r.PostFormValue("gypsum"+at) != ""}
	if in.GetName() == "" {
		return nil, false, nil
	}
	moisture, err := v.figure("moisture" + at)
	if err != nil {
		return nil, false, err
	}
	if moisture == nil {
		return nil, false, fault.InvalidField("moisture"+at, "%s", v.words.T("recipes.moisture_needed"))
	}
	in.MoisturePercent = *moisture
	if in.NitrogenPercent, err = v.figure("nitrogen" + at); err != nil {
		return nil, false, err
	}
	carbon, err := v.figure("carbon" + at)
	if err != nil {
		return nil, false, err
	}
	if carbon != nil {
		switch v.r.PostFormValue("stated" + at) {
		case "ash":
			in.Carbon = &compostlotv1.Ingredient_AshPercent{AshPercent: *carbon}
		case "ratio":
			in.Carbon = &compostlotv1.Ingredient_CnRatio{CnRatio: *carbon}
		default:
			in.Carbon = &compostlotv1.Ingredient_CarbonPercent{CarbonPercent: *carbon}
		}
	}
	price, err := v.minor("price" + at)
	if err != nil {
		return nil, false, err
	}
	in.PriceMinorPerTonne = v.words.ForTonne(price)
	m, err := v.massOf("mass"+at, "unit"+at)
	if m == nil {
		m = &compostlotv1.Mass{Unit: unitOfWord(v.r.PostFormValue("unit" + at))}
	}
	return &compostlotv1.RecipePart{Ingredient: in, Mass: m}, true, err
}

// figure reads a figure with at most three decimals; nil where nothing is typed.
func (v *visit) figure(name string) (*float64, error) {
	typed := strings.TrimSpace(v.r.PostFormValue(name))
	if typed == "" {
		return nil, nil
	}
	read, ok := words.Thousandths(typed)
	if !ok {
		return nil, fault.InvalidField(name, "%s", v.words.T("problem.kg", typed))
	}
	x := float64(read) / 1000
	return &x, nil
}

// massOf reads a mass in the unit of another field; nil where nothing is typed.
func (v *visit) massOf(name, unit string) (*compostlotv1.Mass, error) {
	x, err := v.figure(name)
	if x == nil || err != nil {
		return nil, err
	}
	return &compostlotv1.Mass{Amount: *x, Unit: unitOfWord(v.r.PostFormValue(unit))}, nil
}

// solveTask asks how much of one row's ingredient reaches a goal; the other rows stand.
func (v *visit) solveTask(request *compostlotv1.BlendRecipeRequest, typed typedRecipe) ([]int, error) {
	row, err := strconv.Atoi(v.r.PostFormValue("solve_for"))
	if err != nil {
		return nil, fault.InvalidField("goal", "%s", v.words.T("recipes.no_row"))
	}
	goal, err := v.figure("goal")
	if err != nil {
		return nil, err
	}
	if goal == nil {
		return nil, fault.InvalidField("goal", "%s", v.words.T("recipes.no_goal"))
	}
	solve := &compostlotv1.SolveForIngredient{Value: *goal}
	for _, property := range properties {
		if property.word == v.r.PostFormValue("property") {
			solve.Property, solve.Value = property.property, *v.ofProperty(property.property, goal)
		}
	}
	if solve.Stock, err = v.massOf("most_"+strconv.Itoa(row), "unit_"+strconv.Itoa(row)); err != nil {
		return nil, err
	}
	request.Parts = nil
	for i, part := range typed.parts {
		if typed.rows[i] == row {
			solve.Ingredient = part.GetIngredient()
			continue
		}
		request.Parts = append(request.Parts, part)
	}
	if solve.GetIngredient() == nil {
		return nil, fault.InvalidField("goal", "%s", v.words.T("recipes.no_row"))
	}
	request.Task = &compostlotv1.BlendRecipeRequest_Solve{Solve: solve}
	return []int{row}, nil
}

// ofProperty turns a value as the page has it into the service's unit; nil stays nil.
func (v *visit) ofProperty(property compostlotv1.RecipeProperty, value *float64) *float64 {
	if value == nil || property != compostlotv1.RecipeProperty_RECIPE_PROPERTY_GYPSUM {
		return value
	}
	x := *value / v.gypsumParts()
	return &x
}

// cheapestTask asks for the cheapest mix of the rows' ingredients within stock and bounds.
func (v *visit) cheapestTask(request *compostlotv1.BlendRecipeRequest, typed typedRecipe) ([]int, error) {
	batch, err := v.massOf("batch", "batch_unit")
	if err != nil {
		return nil, err
	}
	if batch == nil {
		return nil, fault.InvalidField("batch", "%s", v.words.T("recipes.no_batch"))
	}
	task := &compostlotv1.CheapestRecipe{Batch: batch}
	for i, part := range typed.parts {
		at := "_" + strconv.Itoa(typed.rows[i])
		offer := &compostlotv1.RecipeOffer{Ingredient: part.GetIngredient()}
		if offer.Least, err = v.massOf("least"+at, "unit"+at); err != nil {
			return nil, err
		}
		if offer.Most, err = v.massOf("most"+at, "unit"+at); err != nil {
			return nil, err
		}
		task.Offers = append(task.Offers, offer)
	}
	for _, property := range properties {
		bound := &compostlotv1.RecipeBound{Property: property.property}
		if bound.Low, err = v.figure("low_" + property.word); err != nil {
			return nil, err
		}
		if bound.High, err = v.figure("high_" + property.word); err != nil {
			return nil, err
		}
		bound.Low, bound.High = v.ofProperty(property.property, bound.Low), v.ofProperty(property.property, bound.High)
		if bound.Low != nil || bound.High != nil {
			task.Bounds = append(task.Bounds, bound)
		}
	}
	request.Parts, request.Task = nil, &compostlotv1.BlendRecipeRequest_Cheapest{Cheapest: task}
	return typed.rows, nil
}

// saveRecipe keeps the form as a recipe of the visitor's yard, with the water that its goal
// asks for.
func (p *Pages) saveRecipe(v *visit, typed typedRecipe) (*compostlotv1.Recipe, error) {
	parts := typed.parts
	if typed.water != nil {
		res, err := p.compostlot.BlendRecipe(v.ctx, &compostlotv1.BlendRecipeRequest{Parts: parts, WaterToMoisturePercent: typed.water, ShowUnit: typed.unit(v)})
		if err != nil {
			return nil, err
		}
		if res.GetWater().GetGrams() > 0 {
			water := res.GetParts()[len(res.GetParts())-1].GetIngredient()
			parts = append(parts, &compostlotv1.RecipePart{Ingredient: water, Mass: &compostlotv1.Mass{Amount: res.GetWater().GetAmount(), Unit: res.GetWater().GetUnit()}})
		}
	}
	return p.compostlot.SaveRecipe(v.ctx, &compostlotv1.SaveRecipeRequest{RequestId: v.r.PostFormValue("request_id"), Recipe: &compostlotv1.Recipe{
		RecipeId: strings.TrimSpace(v.r.PostFormValue("recipe_id")), YardId: v.who.YardID, Name: strings.TrimSpace(v.r.PostFormValue("name")),
		Parts: parts, Etag: v.r.PostFormValue("etag"),
	}})
}

// recipeField turns the path of a field in a request into the name of the form's.
func recipeField(path string, rows []int) string {
	last := afterDot(path)
	for _, list := range []string{"parts[", "offers["} {
		_, rest, ok := strings.Cut(path, list)
		if !ok {
			continue
		}
		number, _, _ := strings.Cut(rest, "]")
		i, err := strconv.Atoi(number)
		if err != nil || i >= len(rows) {
			continue
		}
		at := "_" + strconv.Itoa(rows[i])
		switch {
		case strings.Contains(rest, "moisture"):
			return "moisture" + at
		case strings.Contains(rest, "nitrogen"):
			return "nitrogen" + at
		case strings.Contains(rest, "carbon"), strings.Contains(rest, "ash"), strings.Contains(rest, "cn_ratio"):
			return "carbon" + at
		case strings.Contains(rest, "least"):
			return "least" + at
		case strings.Contains(rest, "most"):
			return "most" + at
		case strings.Contains(rest, "mass"):
			return "mass" + at
		}
		return "ingredient" + at
	}
	switch {
	case strings.HasPrefix(path, "solve"):
		return "goal"
	case strings.HasPrefix(path, "cheapest"):
		return "batch"
	case last == "water_to_moisture_percent":
		return "water"
	}
	return last
}
