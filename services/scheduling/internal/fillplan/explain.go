package fillplan

import (
	"fmt"
	"slices"
)

// Explanation says what a fill is good for.
type Explanation struct {
	Fill Fill
	// FillM is what the fill itself costs; WithoutM by how much the plan would
	// cost more without it. Both in millicents.
	FillM, WithoutM int64
	// Serves lists the product-weeks the fill yields in, by week, then product.
	Serves []Served
	// Earlier and Later are the fill moved by a week.
	Earlier, Later Move
}

// Served is what a fill changes in one product-week.
type Served struct {
	Product, Week int
	// Grams is what the fill yields, ShortGrams the part of it that someone would
	// otherwise miss; the rest is more than was ordered.
	Grams, ShortGrams int64
	// SavedM is the cost of shortage avoided less that of surplus caused.
	SavedM int64
}

// Move is a fill made in another week, the rest of the plan as it is.
type Move struct {
	Week int
	// Possible says whether the plan would stay feasible, Reason why not.
	Possible bool
	Reason   string
	// ChangeM is what the cost of the plan would change by, in millicents; 0 when
	// the move is not possible.
	ChangeM int64
}

// NotInPlanError is returned for a fill that the plan does not contain.
type NotInPlanError struct {
	Fill Fill
}

func (e *NotInPlanError) Error() string {
	return fmt.Sprintf("plan: does not contain fill %v", e.Fill)
}

// Explain says which shortages a fill of a feasible plan serves and what moving
// it a week either way would cost. It returns a *PlanError for a plan that is
// not feasible and a *NotInPlanError for a fill that is not in it.
func Explain(in *Instance, plan Plan, fill Fill) (Explanation, error) {
	if err := Check(in, plan); err != nil {
		return Explanation{}, err
	}
	at := slices.Index(plan.Fills, fill)
	if at < 0 {
		return Explanation{}, &NotInPlanError{Fill: fill}
	}
	others := slices.Delete(slices.Clone(plan.Fills), at, at+1)
	now := Evaluate(in, plan.Fills).M()
	e := Explanation{
		Fill:     fill,
		FillM:    fillCost(in, fill),
		WithoutM: Evaluate(in, others).M() - now,
		Serves:   served(in, others, fill),
	}
	e.Earlier = moved(in, others, fill, fill.Week-1, now)
	e.Later = moved(in, others, fill, fill.Week+1, now)
	return e, nil
}

func served(in *Instance, others []Fill, fill Fill) []Served {
	supply := supplyOf(in, others)
	var list []Served
	for k, row := range in.Programmes[fill.Programme].YieldGrams {
		w := fill.Week + k
		if w >= in.Weeks {
			break
		}
		for q, perMetre := range row {
			if perMetre == 0 {
				continue
			}
			grams := perMetre * in.Rooms[fill.Room].Area
			short := max(0, in.DemandGrams[q][w]-supply[q][w])
			served := min(short, grams)
			p := in.Products[q]
			list = append(list, Served{
				Product: q, Week: w, Grams: grams, ShortGrams: served,
				SavedM: cellCost(in.DemandGrams[q][w]-supply[q][w], p.ShortCents, p.OverCents) -
					cellCost(in.DemandGrams[q][w]-supply[q][w]-grams, p.ShortCents, p.OverCents),
			})
		}
	}
	return list
}

func moved(in *Instance, others []Fill, fill Fill, week int, now int64) Move {
	fill.Week = week
	fills := append(slices.Clone(others), fill)
	if err := Check(in, Plan{Instance: in.Name, Fills: fills}); err != nil {
		return Move{Week: week, Reason: err.Error()}
	}
	return Move{Week: week, Possible: true, ChangeM: Evaluate(in, fills).M() - now}
}
