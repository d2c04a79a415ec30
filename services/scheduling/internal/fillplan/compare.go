package fillplan

import "slices"

// Comparison is plan B beside plan A: every difference is B less A.
type Comparison struct {
	CostA, CostB Cost
	// Products are the differences by product.
	Products []ProductChange
	// Rooms are the rooms whose fills differ, by room.
	Rooms []RoomChange
	// CompostKg is the difference in compost.
	CompostKg int64
}

// ChangeM is what B costs more than A, in millicents.
func (c Comparison) ChangeM() int64 { return c.CostB.M() - c.CostA.M() }

// ProductChange is the difference in grams of one product over all weeks.
type ProductChange struct {
	Product int
	// Demand, Supply, Short and Over are in grams.
	Demand, Supply, Short, Over int64
}

// RoomChange lists the fills of a room that only one of the plans contains.
type RoomChange struct {
	Room         int
	OnlyA, OnlyB []Fill
}

// Compare sets two plans side by side, each for its own instance: for a what-if,
// the instance as it is and as it might become. The instances must have the same
// products and the same rooms and programmes by index; otherwise an
// *InstanceError is returned, and a *PlanError for a plan that is not feasible.
func Compare(inA *Instance, a Plan, inB *Instance, b Plan) (Comparison, error) {
	if err := alike(inA, inB); err != nil {
		return Comparison{}, err
	}
	if err := Check(inA, a); err != nil {
		return Comparison{}, err
	}
	if err := Check(inB, b); err != nil {
		return Comparison{}, err
	}
	c := Comparison{CostA: Evaluate(inA, a.Fills), CostB: Evaluate(inB, b.Fills)}
	tallyA, tallyB := tally(inA, a.Fills), tally(inB, b.Fills)
	for q := range inA.Products {
		from, to := tallyA[q], tallyB[q]
		c.Products = append(c.Products, ProductChange{
			Product: q,
			Demand:  to.Demand - from.Demand,
			Supply:  to.Supply - from.Supply,
			Short:   to.Short - from.Short,
			Over:    to.Over - from.Over,
		})
	}
	for _, kg := range yardLoad(inA, a.Fills) {
		c.CompostKg -= kg
	}
	for _, kg := range yardLoad(inB, b.Fills) {
		c.CompostKg += kg
	}
	c.Rooms = roomChanges(a.Canonical().Fills, b.Canonical().Fills)
	return c, nil
}

func alike(a, b *Instance) *InstanceError {
	if !slices.EqualFunc(a.Products, b.Products, func(p, q Product) bool { return p.ID == q.ID }) {
		return instanceErrorf("products", "the instances compared must have the same products")
	}
	if len(a.Rooms) != len(b.Rooms) {
		return instanceErrorf("rooms", "the instances compared must have the same rooms, got %d and %d", len(a.Rooms), len(b.Rooms))
	}
	if len(a.Programmes) != len(b.Programmes) {
		return instanceErrorf("programmes", "the instances compared must have the same programmes, got %d and %d", len(a.Programmes), len(b.Programmes))
	}
	return nil
}

func tally(in *Instance, fills []Fill) []ProductChange {
	totals := make([]ProductChange, len(in.Products))
	for q, supply := range supplyOf(in, fills) {
		for w, grams := range supply {
			gap := in.DemandGrams[q][w] - grams
			totals[q].Demand += in.DemandGrams[q][w]
			totals[q].Supply += grams
			totals[q].Short += max(0, gap)
			totals[q].Over += max(0, -gap)
		}
	}
	return totals
}

// roomChanges pairs off the fills of two canonical lists.
func roomChanges(a, b []Fill) []RoomChange {
	var list []RoomChange
	at := func(room int) *RoomChange {
		if len(list) == 0 || list[len(list)-1].Room != room {
			list = append(list, RoomChange{Room: room})
		}
		return &list[len(list)-1]
	}
	for _, f := range (Plan{Fills: slices.Concat(a, b)}).Canonical().Fills {
		inA, inB := slices.Contains(a, f), slices.Contains(b, f)
		switch {
		case inA && !inB:
			at(f.Room).OnlyA = append(at(f.Room).OnlyA, f)
		case inB && !inA:
			at(f.Room).OnlyB = append(at(f.Room).OnlyB, f)
		}
	}
	return list
}
