package web

import (
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
)

// lotLog is how a lot is made: its recipe, what was done to it, who decided what, and what gas
// was read at it.
type lotLog struct {
	Recipe        string
	RecipeVersion int64
	Parts         *table // nil where the recipe is not known
	Turns         []turnRow
	Decisions     []decisionRow
	Gas           []gasRow
	Deference     string
}

// partRow is one ingredient of the recipe.
type partRow struct {
	Name  string
	Grams int64
}

// turnRow is one working of the heap.
type turnRow struct {
	Key, At, Note, By string
	WaterGrams        int64
	Supplements       []partRow
}

// decisionRow is one release or hold.
type decisionRow struct{ Key, At, By, Reason string }

// gasRow is one gas reading against exposure limits.
type gasRow struct {
	Kind, Unit, Value, At, Advice, Why string
	Grave                              bool
}

func lotLogOf(v *visit, report *compostlotv1.LotReport) lotLog {
	log := lotLog{Recipe: report.GetRecipe().GetName(), RecipeVersion: report.GetRecipe().GetVersion(), Deference: report.GetDeference()}
	if parts := report.GetRecipe().GetParts(); len(parts) > 0 {
		t := &table{ID: "recipe", Caption: report.GetRecipe().GetName(), Columns: []column{
			{Key: "lot.ingredient", Name: "ingredient"}, {Key: "unit.of_mass", Name: "grams", Figures: true},
		}}
		for _, one := range parts {
			t.Rows = append(t.Rows, []cell{name(one.GetIngredient().GetName()), v.weight(one.GetMass().GetGrams())})
		}
		log.Parts = v.table(t)
	}
	for _, t := range report.GetTurns() {
		log.Turns = append(log.Turns, turnRow{
			Key: turnKey(t.GetKind()), At: v.words.Instant(t.GetTime().AsTime(), v.zone), Note: t.GetNote(), By: t.GetRecordedBy(),
			WaterGrams: t.GetWater().GetGrams(), Supplements: partsOf(t.GetSupplements()),
		})
	}
	for _, d := range report.GetDecisions() {
		log.Decisions = append(log.Decisions, decisionRow{
			Key: "decision." + strings.ToLower(strings.TrimPrefix(d.GetKind().String(), "DECISION_KIND_")), At: v.words.Instant(d.GetDecidedAt().AsTime(), v.zone), By: d.GetDecidedBy(), Reason: d.GetReason(),
		})
	}
	log.Gas = gasRows(v, report.GetGas())
	return log
}

func partsOf(parts []*compostlotv1.RecipePart) []partRow {
	var rows []partRow
	for _, p := range parts {
		rows = append(rows, partRow{p.GetIngredient().GetName(), p.GetMass().GetGrams()})
	}
	return rows
}

func turnKey(kind compostlotv1.TurnKind) string {
	return "turn." + strings.ToLower(strings.TrimPrefix(kind.String(), "TURN_KIND_"))
}

func gasRows(v *visit, findings []*compostlotv1.GasFinding) []gasRow {
	var rows []gasRow
	for _, g := range findings {
		rows = append(rows, gasRow{
			Kind: readingKey(g.GetGas()), Unit: v.unitOf(g.GetGas()), Value: v.words.Tenths(g.GetValueThousandths()), At: v.words.Instant(g.GetTime().AsTime(), v.zone),
			Advice: "gas." + strings.ToLower(strings.TrimPrefix(g.GetAdvice().String(), "GAS_ADVICE_")), Why: g.GetExplanation(),
			Grave: g.GetAdvice() == compostlotv1.GasAdvice_GAS_ADVICE_LEAVE || g.GetAdvice() == compostlotv1.GasAdvice_GAS_ADVICE_FLEE,
		})
	}
	return rows
}

// recordTurn records what was done to a lot now.
func (p *Pages) recordTurn(v *visit) (view, error) {
	turn, err := v.turnAt(timestamppb.New(v.renderedAt()))
	if err != nil {
		return view{}, err
	}
	_, err = p.compostlot.RecordTurn(v.ctx, &compostlotv1.RecordTurnRequest{RequestId: v.r.PostFormValue("request_id"), Turn: turn})
	return view{goTo: lotAddress(v) + "#log"}, err
}

// turnField turns the path of a field in the request into the name of the form's.
func turnField(path string) string {
	if path == "turn.water.amount" || path == "turn.water" {
		return "water"
	}
	return afterDot(path)
}

// lotDocument gives the report of a lot as one page to print or send.
func (p *Pages) lotDocument(v *visit) (view, error) {
	doc, err := p.compostlot.GetLotDocument(v.ctx, &compostlotv1.GetLotDocumentRequest{LotId: v.r.PathValue("lot"), Format: compostlotv1.DocumentFormat_DOCUMENT_FORMAT_PDF})
	return view{file: &schedulingv1.Content{ContentType: doc.GetContentType(), FileName: doc.GetFileName(), Content: doc.GetContent()}}, err
}

// entryPage is what to settle before anybody goes into a bunker or a tunnel.
type entryPage struct {
	Tunnel    bool
	Lot       string
	Items     []string
	Deference string
	Limits    *table
	Gas       []gasRow
}

// showEntry shows the checklist, to print and take along.
func (p *Pages) showEntry(v *visit, _ *form) (view, error) {
	page := entryPage{Tunnel: v.r.FormValue("place") == "tunnel", Lot: v.r.FormValue("lot")}
	place := compostlotv1.EntryPlace_ENTRY_PLACE_BUNKER
	if page.Tunnel {
		place = compostlotv1.EntryPlace_ENTRY_PLACE_TUNNEL
	}
	list, err := p.compostlot.GetEntryChecklist(v.ctx, &compostlotv1.GetEntryChecklistRequest{Place: place, LotId: page.Lot})
	if err != nil {
		return view{}, err
	}
	page.Items, page.Deference, page.Gas = list.GetItems(), list.GetDeference(), gasRows(v, list.GetGas())
	page.Limits = limitsTable(v, list.GetLimits())
	return view{template: "entry", title: "entry.title", data: page}, nil
}

// limitsTable lists published exposure limits.
func limitsTable(v *visit, limits []*compostlotv1.ExposureLimit) *table {
	t := &table{ID: "limits", Caption: v.words.T("entry.limits"), Columns: []column{
		{Key: "entry.what", Name: "gas"}, {Key: "entry.limit", Name: "limit_thousandths", Figures: true}, {Key: "entry.over", Name: "over_seconds", Figures: true}, {Key: "entry.source", Name: "source"},
	}}
	for _, l := range limits {
		limit := v.words.Tenths(l.GetThousandths()) + " " + v.unitOf(l.GetGas())
		if l.GetLeast() {
			limit = v.words.T("entry.at_least") + " " + limit
		}
		over := v.words.T("entry.any_moment")
		if minutes := l.GetSeconds() / 60; minutes > 0 {
			over = v.words.N("entry.minutes", minutes)
		}
		t.Rows = append(t.Rows, []cell{v.says(readingKey(l.GetGas())), figure(l.GetThousandths(), limit), figure(l.GetSeconds(), over), english(l.GetName() + ". " + l.GetSource())})
	}
	return v.table(t)
}
