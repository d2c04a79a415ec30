package web

import (
	"fmt"
	"strconv"
	"strings"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
)

// Measures of the drawing of supply against demand, in its own units.
const (
	weekWidth, barWidth = 40, 30
	balanceHeight       = 100
)

// balance is supply against demand of one kind of mushroom, week by week.
type balance struct {
	Species, Stage string // Stage is the key of the stage of picking; empty without stages
	Products       []string
	Width, Height  int
	Weeks          *table // nil where only the drawing is wanted
	// The drawing as paths, of which a week takes fewer bytes than as shapes of their own.
	Committed, Proposed, Gap string
	Demand                   string
	ShortGrams               int64
	OverGrams                int64
}

// balancesOf draws each kind to its own scale.
func balancesOf(kinds []*schedulingv1.KindPlan, n names) []balance {
	var all []balance
	for _, k := range kinds {
		b := balance{Species: k.GetKind().GetSpecies(), Stage: pickStageKey(k.GetKind().GetPickStage()), Width: weekWidth * len(k.GetWeeks()), Height: balanceHeight}
		for _, id := range k.GetProductIds() {
			b.Products = append(b.Products, n.product(id))
		}
		b.draw(k.GetWeeks())
		all = append(all, b)
	}
	return all
}

// pickStageKey is the key of a stage of picking; empty for species that have none.
func pickStageKey(s typev1.PickStage) string {
	if s == typev1.PickStage_PICK_STAGE_UNSPECIFIED {
		return ""
	}
	return "pick_stage." + strings.ToLower(strings.TrimPrefix(s.String(), "PICK_STAGE_"))
}

func (b *balance) draw(weeks []*schedulingv1.KindWeek) {
	var largest int64 = 1
	for _, w := range weeks {
		largest = max(largest, w.GetCommittedGrams()+w.GetProposedGrams(), w.GetDemandGrams())
	}
	tall := func(grams int64) int { return int(float64(grams) / float64(largest) * balanceHeight) }
	var committed, proposed, gap, line strings.Builder
	pen := "M"
	for i, w := range weeks {
		b.ShortGrams += w.GetShortGrams()
		b.OverGrams += w.GetOverGrams()
		x, top := i*weekWidth, balanceHeight
		for _, part := range []struct {
			to    *strings.Builder
			grams int64
		}{{&committed, w.GetCommittedGrams()}, {&proposed, w.GetProposedGrams()}, {&gap, w.GetShortGrams()}} {
			if high := tall(part.grams); high > 0 {
				fmt.Fprintf(part.to, "M%d %dh%dv-%dh-%dz", x, top, barWidth, high, barWidth)
				top -= high
			}
		}
		if w.DemandGrams != nil {
			y := strconv.Itoa(balanceHeight - tall(w.GetDemandGrams()))
			line.WriteString(pen + strconv.Itoa(x) + " " + y + "H" + strconv.Itoa(x+weekWidth))
			pen = "L"
		} else {
			pen = "M"
		}
	}
	b.Committed, b.Proposed, b.Gap, b.Demand = committed.String(), proposed.String(), gap.String(), line.String()
}

// weeksTable lists kinds of mushrooms week by week.
func weeksTable(v *visit, id, caption string, kinds []*schedulingv1.KindPlan) *table {
	mass := v.words.MassUnit()
	t := &table{ID: id, Caption: caption, Columns: []column{
		{Key: "quarter.week_of", Name: "week"}, {Key: "whatif.kind", Name: "kind"},
		{Key: "quarter.committed", Name: "committed_grams", Figures: true, Unit: mass}, {Key: "quarter.proposed", Name: "proposed_grams", Figures: true, Unit: mass},
		{Key: "quarter.demand", Name: "demand_grams", Figures: true, Unit: mass}, {Key: "quarter.gap", Name: "missing_grams", Figures: true, Unit: mass}, {Key: "quarter.over", Name: "over_grams", Figures: true, Unit: mass},
	}}
	for _, k := range kinds {
		kind := name(v.kindName(k.GetKind()))
		for _, w := range k.GetWeeks() {
			demand, short, over := none(), none(), none()
			if w.DemandGrams != nil {
				demand = v.weight(w.GetDemandGrams())
			}
			if w.GetShortGrams() > 0 {
				short = v.weight(w.GetShortGrams()).strong()
			}
			if w.GetOverGrams() > 0 {
				over = v.weight(w.GetOverGrams())
			}
			t.Rows = append(t.Rows, []cell{v.date(w.GetWeek()), kind, v.weight(w.GetCommittedGrams()), v.weight(w.GetProposedGrams()), demand, short, over})
		}
	}
	return v.table(t)
}

// kindName is a species with its stage of picking, in words.
func (v *visit) kindName(k *schedulingv1.Kind) string {
	species := k.GetSpecies()
	if v.words.Has("species." + species) {
		species = v.words.T("species." + species)
	}
	if stage := pickStageKey(k.GetPickStage()); stage != "" {
		return species + ", " + v.words.T(stage)
	}
	return species
}
