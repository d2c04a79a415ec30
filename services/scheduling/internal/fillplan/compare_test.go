package fillplan

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestCompareWithDemandRaised(t *testing.T) {
	t.Parallel()
	in := decodeSample(t)
	raised, err := in.WithDemand(115)
	if err != nil {
		t.Fatal(err)
	}
	a := Plan{Instance: "sample", Fills: []Fill{{0, 0, 0}, {1, 0, 1}}}
	b := Plan{Instance: "sample", Fills: []Fill{{0, 0, 1}}}
	got, err := Compare(in, a, raised, b)
	if err != nil {
		t.Fatal(err)
	}
	// Demand 575000, 690000, 805000. A: 499000 short, 800000 over. B yields
	// 700000 g in week 2: 574000 + 690000 + 105000 short, nothing over.
	want := Comparison{
		CostA: Evaluate(in, a.Fills), CostB: Evaluate(raised, b.Fills),
		Products:  []ProductChange{{Product: 0, Demand: 270_000, Supply: -1_400_000, Short: 870_000, Over: -800_000}},
		Rooms:     []RoomChange{{Room: 0, OnlyA: []Fill{{0, 0, 0}}, OnlyB: []Fill{{0, 0, 1}}}, {Room: 1, OnlyA: []Fill{{1, 0, 1}}}},
		CompostKg: -18_000,
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if got.ChangeM() != want.CostB.M()-want.CostA.M() {
		t.Errorf("change %d", got.ChangeM())
	}
}

func TestCompareRefuses(t *testing.T) {
	t.Parallel()
	in := decodeSample(t)
	plan := Plan{Instance: "sample"}
	for name, change := range map[string]func(*Instance){
		"another product": func(c *Instance) { c.Products[0].ID = "brown" },
		"a room less":     func(c *Instance) { c.Rooms = c.Rooms[:1] },
		"no programme":    func(c *Instance) { c.Programmes = nil },
	} {
		other := in.Clone()
		change(other)
		var wrong *InstanceError
		if _, err := Compare(in, plan, other, plan); !errors.As(err, &wrong) {
			t.Errorf("%s: %v", name, err)
		}
	}
	bad := Plan{Instance: "sample", Fills: []Fill{{1, 0, 0}}}
	var broken *PlanError
	if _, err := Compare(in, bad, in, plan); !errors.As(err, &broken) {
		t.Errorf("first plan not feasible: %v", err)
	}
	if _, err := Compare(in, plan, in, bad); !errors.As(err, &broken) {
		t.Errorf("second plan not feasible: %v", err)
	}
}

func TestWhatIf(t *testing.T) {
	t.Parallel()
	in := reference(t, "tiny-s1")
	before := in.Clone()
	base := solve(t, in, Options{Steps: 2_000})

	down, err := in.WithYard(3, 5, 0)
	if err != nil {
		t.Fatal(err)
	}
	lost, err := in.WithoutRoom(1)
	if err != nil {
		t.Fatal(err)
	}
	for name, changed := range map[string]*Instance{"yard down": down, "room lost": lost} {
		got := solve(t, changed, Options{Steps: 2_000})
		if got.M < base.BoundM {
			t.Errorf("%s: cost %d below the bound %d of a roomier instance", name, got.M, base.BoundM)
		}
		for _, f := range got.Plan.Fills {
			if changed == down && (f.Week == 3 || f.Week == 4) || changed == lost && f.Room == 1 {
				t.Errorf("%s: fill %v", name, f)
			}
		}
		if _, err := Compare(in, base.Plan, changed, got.Plan); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if diff := cmp.Diff(before, in); diff != "" {
		t.Errorf("the instance itself changed:\n%s", diff)
	}
}

func TestWhatIfRefuses(t *testing.T) {
	t.Parallel()
	in := decodeSample(t)
	for name, change := range map[string]func() (*Instance, error){
		"yard beyond the weeks": func() (*Instance, error) { return in.WithYard(2, 4, 0) },
		"yard of no week":       func() (*Instance, error) { return in.WithYard(1, 1, 0) },
		"yard below zero":       func() (*Instance, error) { return in.WithYard(0, 1, -1) },
		"no such room":          func() (*Instance, error) { return in.WithoutRoom(2) },
		"demand below zero":     func() (*Instance, error) { return in.WithDemand(-1) },
		"demand beyond all":     func() (*Instance, error) { return in.WithDemand(10_001) },
	} {
		var wrong *InstanceError
		if _, err := change(); !errors.As(err, &wrong) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if got, err := in.WithDemand(33); err != nil || got.DemandGrams[0][0] != 165_000 {
		t.Errorf("a third of the demand: %v, %v", got, err)
	}
}
