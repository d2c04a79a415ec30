package web

import (
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
	Weeks          []balanceWeek
	Demand         string // the path of the demand's line
	ShortGrams     int64
	OverGrams      int64
}

// balanceWeek is one week, in grams and as drawn.
type balanceWeek struct {
	Week                        string
	Committed, Proposed, Demand int64
	Known                       bool // Demand is
	Short, Over                 int64

	X, CommittedY, CommittedH, ProposedY, ProposedH, GapY, GapH int
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
	var line strings.Builder
	pen := "M"
	for i, w := range weeks {
		row := balanceWeek{
			Week: w.GetWeek(), Committed: w.GetCommittedGrams(), Proposed: w.GetProposedGrams(), Demand: w.GetDemandGrams(), Known: w.DemandGrams != nil,
			Short: w.GetShortGrams(), Over: w.GetOverGrams(), X: i * weekWidth,
		}
		b.ShortGrams += row.Short
		b.OverGrams += row.Over
		row.CommittedH, row.ProposedH = tall(row.Committed), tall(row.Proposed)
		row.CommittedY = balanceHeight - row.CommittedH
		row.ProposedY = row.CommittedY - row.ProposedH
		if row.Short > 0 {
			row.GapH = tall(row.Short)
			row.GapY = row.ProposedY - row.GapH
		}
		if row.Known {
			y := strconv.Itoa(balanceHeight - tall(row.Demand))
			line.WriteString(pen + strconv.Itoa(row.X) + " " + y + "H" + strconv.Itoa(row.X+weekWidth))
			pen = "L"
		} else {
			pen = "M"
		}
		b.Weeks = append(b.Weeks, row)
	}
	b.Demand = line.String()
}
