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
	Weeks          []balanceWeek
	// The drawing as paths, of which a week takes fewer bytes than as shapes of their own.
	Committed, Proposed, Gap string
	Demand                   string
	Proposing                bool // something is proposed in some week
	ShortGrams               int64
	OverGrams                int64
}

// balanceWeek is one week, in grams.
type balanceWeek struct {
	Week                        string
	Committed, Proposed, Demand int64
	Known                       bool // Demand is
	Short, Over                 int64
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
		row := balanceWeek{
			Week: w.GetWeek(), Committed: w.GetCommittedGrams(), Proposed: w.GetProposedGrams(), Demand: w.GetDemandGrams(), Known: w.DemandGrams != nil,
			Short: w.GetShortGrams(), Over: w.GetOverGrams(),
		}
		b.ShortGrams += row.Short
		b.OverGrams += row.Over
		b.Proposing = b.Proposing || row.Proposed > 0
		x, top := i*weekWidth, balanceHeight
		for _, part := range []struct {
			to    *strings.Builder
			grams int64
		}{{&committed, row.Committed}, {&proposed, row.Proposed}, {&gap, row.Short}} {
			if high := tall(part.grams); high > 0 {
				fmt.Fprintf(part.to, "M%d %dh%dv-%dh-%dz", x, top, barWidth, high, barWidth)
				top -= high
			}
		}
		if row.Known {
			y := strconv.Itoa(balanceHeight - tall(row.Demand))
			line.WriteString(pen + strconv.Itoa(x) + " " + y + "H" + strconv.Itoa(x+weekWidth))
			pen = "L"
		} else {
			pen = "M"
		}
		b.Weeks = append(b.Weeks, row)
	}
	b.Committed, b.Proposed, b.Gap, b.Demand = committed.String(), proposed.String(), gap.String(), line.String()
}
