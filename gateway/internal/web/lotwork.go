package web

import (
	"strconv"
	"time"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// lotWorkPage is what a yard writes down of a lot while it is made: its recipe, the steps, what
// was put in, weighings with samples, calibrations, and what loggers kept.
type lotWorkPage struct {
	ID      string
	Caution string
	Form    *form
	Done    string
	Recipe  *form
	Recipes []stageChoice
	Step    *form
	Steps   []stageChoice
	StepDay input
	StepAt  input

	Work       *form
	Kinds      []stageChoice
	WorkDay    input
	WorkAt     input
	Water      input
	Note       input
	Additions  []additionRow
	Sample     *form
	SampleDay  input
	SampleAt   input
	Weight     input
	Moisture   input
	Nitrogen   input
	SampleNote input
	Final      bool

	Probe   *form
	Probes  []stageChoice
	Offset  input
	Upload  *form
	Samples []sampleRow
	Balance []string // what became of its mass from sample to sample, in the service's words
}

// additionRow is something put in beside water.
type additionRow struct {
	Number                         int
	Name, Mass, Moisture, Nitrogen input
}

// sampleRow is a lot weighed and sampled.
type sampleRow struct{ At, Mass, Moisture, Nitrogen, Note, By string }

// additions is how many things beside water one working may put in.
const additions = 3

// showLotWork shows the forms for one lot.
func (p *Pages) showLotWork(v *visit, f *form) (view, error) {
	var (
		report  *compostlotv1.LotReport
		recipes *compostlotv1.ListRecipesResponse
	)
	err := together(v.ctx,
		ask(&report, p.compostlot.GetLotReport, &compostlotv1.GetLotReportRequest{LotId: v.r.PathValue("lot")}),
		ask(&recipes, p.compostlot.ListRecipes, &compostlotv1.ListRecipesRequest{YardId: v.who.YardID}),
	)
	if err != nil {
		return view{}, err
	}
	page := lotWorkPage{ID: report.GetLot().GetLotId(), Caution: report.GetCaution(), Form: f, Done: v.r.URL.Query().Get("done")}
	page.fill(v, f, report, recipes.GetRecipes())
	return view{template: "lotwork", title: "lotwork.title", data: page}, nil
}

func (page *lotWorkPage) fill(v *visit, f *form, report *compostlotv1.LotReport, recipes []*compostlotv1.Recipe) {
	now := v.now.In(v.zone)
	when := func(f *form, id string) (day, at input) {
		return newInput(f, id, "date", "day", v.words.T("word.day"), now.Format(time.DateOnly), ""), newInput(f, id, "time", "at", v.words.T("lotwork.at"), now.Format("15:04"), "")
	}
	page.Recipe, page.Step, page.Work, page.Sample, page.Probe, page.Upload = f.For("recipe"), f.For("step"), f.For("work"), f.For("sample"), f.For("probe"), f.For("upload")
	for _, r := range recipes {
		chosen := page.Recipe.Value("recipe_id", report.GetRecipe().GetRecipeId()) == r.GetRecipeId()
		page.Recipes = append(page.Recipes, stageChoice{r.GetRecipeId(), r.GetName(), chosen})
	}
	for _, word := range markWords {
		page.Steps = append(page.Steps, stageChoice{word, "mark." + word, page.Step.Value("mark", "") == word})
	}
	page.StepDay, page.StepAt = when(page.Step, "step")
	for _, kind := range []string{"wetting", "turn", "move", "supplement"} {
		page.Kinds = append(page.Kinds, stageChoice{kind, "turn." + kind, page.Work.Value("kind", "turn") == kind})
	}
	page.WorkDay, page.WorkAt = when(page.Work, "work")
	mass := v.words.MassUnit()
	page.Water = newInput(page.Work, "work", "kg", "water", v.words.T("lot.water"), "", mass)
	page.Note = newInput(page.Work, "work", "text", "note", v.words.T("lot.note"), "", "")
	for i := range additions {
		at := "_" + strconv.Itoa(i)
		field := func(kind, name, label, unit string) input {
			return newInput(page.Work, "work", kind, name+at, v.words.T(label), "", unit)
		}
		page.Additions = append(page.Additions, additionRow{
			i + 1, field("text", "ingredient", "lot.ingredient", ""), field("kg", "mass", "recipes.mass", mass), field("kg", "moisture", "recipes.moisture", "%"), field("kg", "nitrogen", "recipes.nitrogen", "%"),
		})
	}
	page.SampleDay, page.SampleAt = when(page.Sample, "sample")
	page.Weight = newInput(page.Sample, "sample", "kg", "mass", v.words.T("lotwork.mass"), "", mass)
	page.Moisture = newInput(page.Sample, "sample", "kg", "moisture", v.words.T("recipes.moisture"), "", "%")
	page.Nitrogen = newInput(page.Sample, "sample", "kg", "nitrogen", v.words.T("recipes.nitrogen"), "", "%")
	page.SampleNote = newInput(page.Sample, "sample", "text", "note", v.words.T("lot.note"), "", "")
	page.Final = page.Sample.Value("final", "") != ""
	for _, probe := range report.GetProbes() {
		value := probe.GetProbeId() + "/" + strconv.Itoa(int(probe.GetKind())) + "/" + probe.GetEtag()
		label := probe.GetProbeId() + ", " + v.words.T(readingKey(probe.GetKind()))
		if probe.GetCalibratedBy() != "" {
			label += ": " + v.words.Tenths(v.offsetShown(probe.GetKind(), probe.GetOffsetThousandths())) + " " + v.unitOf(probe.GetKind())
		}
		page.Probes = append(page.Probes, stageChoice{value, label, page.Probe.Value("probe", "") == value})
	}
	page.Offset = newInput(page.Probe, "probe", "kg", "offset", v.words.T("lotwork.offset"), "", "")
	page.known(v, report)
}

// known lists what was weighed, and what became of the mass.
func (page *lotWorkPage) known(v *visit, report *compostlotv1.LotReport) {
	percent := func(x float64) string { return v.words.Exact(thousandths(x)) + " %" }
	for _, s := range report.GetSamples() {
		page.Samples = append(page.Samples, sampleRow{
			v.words.Instant(s.GetTime().AsTime(), v.zone), v.words.Mass(s.GetMass().GetGrams()), percent(s.GetMoisturePercent()), percent(s.GetNitrogenPercent()), s.GetNote(), s.GetRecordedBy(),
		})
	}
	for _, step := range report.GetMassBalance() {
		page.Balance = append(page.Balance, step.GetExplanation())
	}
}
