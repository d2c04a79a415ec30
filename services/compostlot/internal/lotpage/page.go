package lotpage

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// tone is how a line stands out.
type tone string

const (
	good  tone = "good"
	bad   tone = "bad"
	open  tone = "open"
	plain tone = ""
)

// row is one line of a table; the first cell carries the tone.
type row struct {
	Tone  tone
	Cells []string
}

// table is a titled list with relative widths of its columns.
type table struct {
	Title  string
	Heads  []string
	Widths []float64 // of the whole, adding up to 1
	Rows   []row
	More   string // what is left out; empty for nothing
}

// page is all that the report says.
type page struct {
	Title, Subtitle string
	Tone            tone
	Status          string
	Facts           []string
	Charts          []*chart
	Tables          []table
	Cautions        []string
	Foot            string
}

var findingWords = map[compostlotv1.Finding]struct {
	word string
	tone tone
}{
	compostlotv1.Finding_FINDING_MET:        {"met", good},
	compostlotv1.Finding_FINDING_NOT_MET:    {"not met", bad},
	compostlotv1.Finding_FINDING_NOT_PROVEN: {"not proven", open},
}

// compose puts the page together, with instants in a zone.
func compose(r *compostlotv1.LotReport, c *compostlotv1.LotChart, zone *time.Location) *page {
	lot := r.GetLot()
	p := &page{
		Title:    "Compost lot " + lot.GetLotId(),
		Subtitle: strings.Trim(r.GetYard().GetName()+", "+r.GetYard().GetPlace(), ", "),
		Charts:   charts(r, c, zone),
		Cautions: cautions(r),
		Foot:     "Judged as of " + at(r.GetJudgedAt(), zone) + ". Times in " + zone.String() + ".",
	}
	p.Tone, p.Status = status(r, zone)
	p.Facts = []string{
		fmt.Sprintf("Phase %d", lot.GetPhase()), "composting began " + lot.GetStartedDate(),
		fmt.Sprintf("%s kg made, %s kg left", thousands(lot.GetMadeKg()), thousands(lot.GetRemainingKg())),
		fmt.Sprintf("%s readings of %d probes", thousands(r.GetReadings()), len(r.GetProbes())),
	}
	p.Tables = append(p.Tables, criteria(r), recipe(r), log(r, zone), balance(r, zone), decisions(r, zone), deliveries(r, zone))
	return p
}

// status is where the lot stands, in a sentence.
func status(r *compostlotv1.LotReport, zone *time.Location) (tone, string) {
	lot := r.GetLot()
	switch lot.GetState() {
	case compostlotv1.LotState_LOT_STATE_HELD:
		return bad, fmt.Sprintf("HELD by %s: %s. Nothing may be delivered.", lot.GetHeldBy(), dotless(lot.GetHoldReason()))
	case compostlotv1.LotState_LOT_STATE_RELEASED:
		by := fmt.Sprintf("by %s on %s", lot.GetReleasedBy(), at(lot.GetReleasedAt(), zone))
		if lot.GetExceptionReason() != "" {
			return open, fmt.Sprintf("Released %s, AS AN EXCEPTION: %s. Not proven: %s. This follows every pack made from it.",
				by, dotless(lot.GetExceptionReason()), strings.Join(lot.GetUnprovenCriteria(), ", "))
		}
		return good, "Released on evidence " + by + "."
	default:
		if r.GetProven() {
			return plain, "Not released. Every criterion is met: a named person may release it."
		}
		return open, "Not released. Not every criterion is met."
	}
}

func criteria(r *compostlotv1.LotReport) table {
	t := table{Title: "Criteria", Heads: []string{"", "What it must prove", "What the readings say", "Source"}, Widths: []float64{.09, .31, .36, .24}}
	for _, c := range r.GetCriteria() {
		f := findingWords[c.GetFinding()]
		t.Rows = append(t.Rows, row{f.tone, []string{f.word, c.GetRequirement(), c.GetExplanation(), c.GetSource()}})
	}
	return t
}

func recipe(r *compostlotv1.LotReport) table {
	t := table{Title: "Recipe", Heads: []string{"Ingredient", "As it lies", "Moisture", "Nitrogen"}, Widths: []float64{.4, .26, .17, .17}}
	m := r.GetRecipe()
	if m == nil {
		t.More = "No recipe is named."
		return t
	}
	t.Title = fmt.Sprintf("Recipe: %s (version %d)", m.GetName(), m.GetVersion())
	for _, p := range m.GetParts() {
		nitrogen := "-"
		if p.GetIngredient().NitrogenPercent != nil {
			nitrogen = fmt.Sprintf("%.2f %%", p.GetIngredient().GetNitrogenPercent())
		}
		t.Rows = append(t.Rows, row{plain, []string{p.GetIngredient().GetName(), amount(p.GetMass()), fmt.Sprintf("%.1f %%", p.GetIngredient().GetMoisturePercent()), nitrogen}})
	}
	t.Rows, t.More = shorten(t.Rows, 7, "ingredients")
	mix := m.GetMix()
	whole := fmt.Sprintf("Together %s, %.1f %% moisture, %.2f %% nitrogen", amount(mix.GetWet()), mix.GetMoisturePercent(), mix.GetNitrogenPercent())
	if mix.CnRatio != nil {
		whole += fmt.Sprintf(", C:N %.1f", mix.GetCnRatio())
	}
	t.More = strings.TrimSpace(whole + ". " + t.More)
	return t
}

var turnWords = map[compostlotv1.TurnKind]string{
	compostlotv1.TurnKind_TURN_KIND_WETTING:    "wetted",
	compostlotv1.TurnKind_TURN_KIND_TURN:       "turned",
	compostlotv1.TurnKind_TURN_KIND_MOVE:       "moved",
	compostlotv1.TurnKind_TURN_KIND_SUPPLEMENT: "supplemented",
}

func log(r *compostlotv1.LotReport, zone *time.Location) table {
	t := table{Title: "Log", Heads: []string{"When", "What", "Put in, and note"}, Widths: []float64{.3, .2, .5}}
	for _, m := range r.GetTurns() {
		var put []string
		if m.GetWater() != nil {
			put = append(put, "water "+amount(m.GetWater()))
		}
		for _, s := range m.GetSupplements() {
			put = append(put, s.GetIngredient().GetName()+" "+amount(s.GetMass()))
		}
		if m.GetNote() != "" {
			put = append(put, m.GetNote())
		}
		t.Rows = append(t.Rows, row{plain, []string{at(m.GetTime(), zone), turnWords[m.GetKind()], strings.Join(put, "; ")}})
	}
	t.Rows, t.More = shorten(t.Rows, 8, "entries")
	if len(t.Rows) == 0 {
		t.More = "Nothing was logged."
	}
	return t
}

func balance(r *compostlotv1.LotReport, zone *time.Location) table {
	t := table{Title: "Mass balance", Heads: []string{"From", "To", "Dry matter", "Lost: dry, N"}, Widths: []float64{.27, .27, .25, .21}}
	for _, s := range r.GetMassBalance() {
		t.Rows = append(t.Rows, row{plain, []string{
			at(s.GetFrom(), zone), at(s.GetTo(), zone), amount(s.GetDryBefore()) + " to " + amount(s.GetDryAfter()),
			fmt.Sprintf("%.1f %%, %.1f %%", 100*s.GetDryLoss(), 100*s.GetNitrogenLoss()),
		}})
	}
	t.Rows, t.More = shorten(t.Rows, 4, "steps")
	if len(t.Rows) == 0 {
		t.More = "Fewer than two samples: nothing to compare."
	}
	return t
}

var decisionWords = map[compostlotv1.DecisionKind]struct {
	word string
	tone tone
}{
	compostlotv1.DecisionKind_DECISION_KIND_RELEASE:   {"released", good},
	compostlotv1.DecisionKind_DECISION_KIND_EXCEPTION: {"exception", open},
	compostlotv1.DecisionKind_DECISION_KIND_HOLD:      {"held", bad},
}

func decisions(r *compostlotv1.LotReport, zone *time.Location) table {
	t := table{Title: "Decisions", Heads: []string{"", "By", "When", "Why"}, Widths: []float64{.15, .22, .28, .35}}
	for _, d := range r.GetDecisions() {
		w := decisionWords[d.GetKind()]
		why := d.GetReason()
		if why == "" {
			why = "on the evidence"
		}
		t.Rows = append(t.Rows, row{w.tone, []string{w.word, d.GetDecidedBy(), at(d.GetDecidedAt(), zone), why}})
	}
	t.Rows, t.More = shorten(t.Rows, 5, "decisions")
	if len(t.Rows) == 0 {
		t.More = "Nothing was decided."
	}
	return t
}

func deliveries(r *compostlotv1.LotReport, zone *time.Location) table {
	t := table{Title: "Deliveries", Heads: []string{"Delivery", "Farm", "Room", "When", "kg"}, Widths: []float64{.24, .19, .19, .27, .11}}
	for _, d := range r.GetDeliveries() {
		t.Rows = append(t.Rows, row{plain, []string{d.GetDeliveryId(), d.GetFarmId(), d.GetRoomId(), at(d.GetDeliveredAt(), zone), thousands(d.GetDeliveredKg())}})
	}
	t.Rows, t.More = shorten(t.Rows, 8, "deliveries")
	if len(t.Rows) == 0 {
		t.More = "Nothing was delivered."
	}
	return t
}

// cautions are the gravest gas finding of each gas, and the usual caution.
func cautions(r *compostlotv1.LotReport) []string {
	var out []string
	seen := map[compostlotv1.ReadingKind]bool{}
	for _, g := range r.GetGas() {
		if !seen[g.GetGas()] && g.GetAdvice() > compostlotv1.GasAdvice_GAS_ADVICE_USUAL {
			text := strings.TrimSuffix(g.GetExplanation(), " "+r.GetDeference())
			out = append(out, "Probe "+g.GetProbeId()+": "+text+" (Limits: "+strings.Join(g.GetSources(), "; ")+".)")
		}
		seen[g.GetGas()] = true
	}
	return append(out, strings.TrimSpace(r.GetCaution()+" "+r.GetDeference()))
}

// shorten keeps the first rows and says how many are left out.
func shorten(rows []row, most int, what string) ([]row, string) {
	if len(rows) <= most {
		return rows, ""
	}
	return rows[:most], fmt.Sprintf("And %d more %s.", len(rows)-most, what)
}

func at(ts *timestamppb.Timestamp, zone *time.Location) string {
	if ts == nil {
		return "-"
	}
	return ts.AsTime().In(zone).Format("2006-01-02 15:04")
}

func dotless(s string) string { return strings.TrimRight(s, ". ") }

// thousands writes a whole number in groups of three.
func thousands(n int64) string {
	if n < 0 {
		return "-" + thousands(-n)
	}
	if n < 1000 {
		return fmt.Sprint(n)
	}
	return thousands(n/1000) + fmt.Sprintf(",%03d", n%1000)
}

var unitWords = map[compostlotv1.MassUnit]string{
	compostlotv1.MassUnit_MASS_UNIT_KILOGRAM: "kg", compostlotv1.MassUnit_MASS_UNIT_TONNE: "t", compostlotv1.MassUnit_MASS_UNIT_POUND: "lb",
	compostlotv1.MassUnit_MASS_UNIT_SHORT_TON: "short tons", compostlotv1.MassUnit_MASS_UNIT_GALLON_OF_WATER: "gal",
}

func amount(m *compostlotv1.Mass) string {
	text := fmt.Sprintf("%.2f", m.GetAmount())
	text = strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
	return text + " " + unitWords[m.GetUnit()]
}
