package fillplan

import (
	"fmt"
	"slices"
	"strings"
)

// Cost is the exact cost of a plan, in millicents.
type Cost struct {
	Short, Over, Fill int64
}

// M is the whole cost, the figure plans are compared by.
func (c Cost) M() int64 { return c.Short + c.Over + c.Fill }

// Cents writes an amount of millicents in cents with two decimals, half up.
func Cents(m int64) string {
	c := m + 5
	hundredths := c / 10
	if c%10 < 0 {
		hundredths--
	}
	sign := ""
	if hundredths < 0 {
		sign, hundredths = "-", -hundredths
	}
	return fmt.Sprintf("%s%d.%02d", sign, hundredths/100, hundredths%100)
}

// Violation is one way in which a plan breaks a rule.
type Violation struct {
	// Fills are the fills concerned: one that is not allowed, two that overlap,
	// or all fills of a week that asks too much of the yard.
	Fills []Fill
	// Reason says which rule is broken, and by how much.
	Reason string
}

// PlanError lists every rule a plan breaks.
type PlanError struct {
	Violations []Violation
}

func (e *PlanError) Error() string {
	reasons := make([]string, len(e.Violations))
	for i, v := range e.Violations {
		reasons[i] = v.Reason
	}
	return "plan: " + strings.Join(reasons, "; ")
}

// Check returns nil when the plan is feasible for the valid instance, and a
// *PlanError naming every broken rule otherwise.
func Check(in *Instance, plan Plan) error {
	var broken []Violation
	report := func(fills []Fill, format string, args ...any) {
		broken = append(broken, Violation{Fills: fills, Reason: fmt.Sprintf(format, args...)})
	}
	if plan.Instance != in.Name {
		report(nil, "is for instance %q, not %q", plan.Instance, in.Name)
	}
	var fills []Fill
	for _, f := range plan.Canonical().Fills {
		if reason := in.refuses(f); reason != "" {
			report([]Fill{f}, "%s", reason)
			continue
		}
		fills = append(fills, f)
	}
	for i := 1; i < len(fills); i++ {
		a, b := fills[i-1], fills[i]
		if end := a.Week + in.Programmes[a.Programme].Weeks; a.Room == b.Room && b.Week < end {
			report([]Fill{a, b}, "room %d: the fill of week %d occupies it until week %d, yet it is filled in week %d", a.Room, a.Week, end, b.Week)
		}
	}
	for w, kg := range yardLoad(in, fills) {
		if kg <= in.YardKg[w] {
			continue
		}
		var ofWeek []Fill
		for _, f := range fills {
			if f.Week == w {
				ofWeek = append(ofWeek, f)
			}
		}
		report(ofWeek, "week %d: %d kg of compost, the yards can deliver %d", w, kg, in.YardKg[w])
	}
	if broken != nil {
		return &PlanError{Violations: broken}
	}
	return nil
}

// refuses says why a single fill is not allowed, or nothing.
func (in *Instance) refuses(f Fill) string {
	switch {
	case f.Room < 0 || f.Room >= len(in.Rooms):
		return fmt.Sprintf("fill %v: there is no room %d", f, f.Room)
	case f.Programme < 0 || f.Programme >= len(in.Programmes):
		return fmt.Sprintf("fill %v: there is no programme %d", f, f.Programme)
	case f.Week < 0 || f.Week >= in.Weeks:
		return fmt.Sprintf("fill %v: week %d is not one of the %d weeks", f, f.Week, in.Weeks)
	case !slices.Contains(in.Rooms[f.Room].Programmes, f.Programme):
		return fmt.Sprintf("fill %v: room %d cannot grow programme %d", f, f.Room, f.Programme)
	case f.Week < in.Rooms[f.Room].Free:
		return fmt.Sprintf("fill %v: room %d is not free before week %d", f, f.Room, in.Rooms[f.Room].Free)
	}
	return ""
}

func yardLoad(in *Instance, fills []Fill) []int64 {
	load := make([]int64, in.Weeks)
	for _, f := range fills {
		load[f.Week] += in.Programmes[f.Programme].CompostKg * in.Rooms[f.Room].Area
	}
	return load
}

// Evaluate returns the exact cost of fills that are in range for the valid
// instance, feasible or not.
func Evaluate(in *Instance, fills []Fill) Cost {
	var c Cost
	for q, supply := range supplyOf(in, fills) {
		for w, grams := range supply {
			if gap := in.DemandGrams[q][w] - grams; gap > 0 {
				c.Short += gap * in.Products[q].ShortCents
			} else {
				c.Over -= gap * in.Products[q].OverCents
			}
		}
	}
	for _, f := range fills {
		c.Fill += fillCost(in, f)
	}
	return c
}

// supplyOf is the supply in grams by product and week, committed and planned.
func supplyOf(in *Instance, fills []Fill) [][]int64 {
	supply := make([][]int64, len(in.Products))
	for q := range supply {
		supply[q] = slices.Clone(in.SupplyGrams[q])
	}
	for _, f := range fills {
		for k, row := range in.Programmes[f.Programme].YieldGrams {
			if f.Week+k >= in.Weeks {
				break
			}
			for q, grams := range row {
				supply[q][f.Week+k] += grams * in.Rooms[f.Room].Area
			}
		}
	}
	return supply
}

// fillCost is the cost of making a fill, in millicents: whole cents, counting
// only the weeks inside the horizon.
func fillCost(in *Instance, f Fill) int64 {
	p := in.Programmes[f.Programme]
	weeks := int64(min(p.Weeks, in.Weeks-f.Week))
	return 1000 * (p.CostCents * in.Rooms[f.Room].Area * weeks / int64(p.Weeks))
}
