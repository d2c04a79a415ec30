package fillplan

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestExplain(t *testing.T) {
	t.Parallel()
	in := decodeSample(t)
	plan := Plan{Instance: "sample", Fills: []Fill{{1, 0, 1}, {0, 0, 0}}}
	got, err := Explain(in, plan, Fill{0, 0, 0})
	if err != nil {
		t.Fatal(err)
	}
	// N1 yields 700000 g in week 1, where 600000 are ordered: 600000 x 200 saved,
	// 100000 x 50 over. It costs 10100 cents. A week later the yard would have to
	// deliver 27000 kg.
	want := Explanation{
		Fill:     Fill{0, 0, 0},
		FillM:    10_100_000,
		WithoutM: 120_000_000 - 5_000_000 - 10_100_000,
		Serves:   []Served{{Product: 0, Week: 1, Grams: 700_000, ShortGrams: 600_000, SavedM: 115_000_000}},
		Earlier:  Move{Week: -1, Reason: got.Earlier.Reason},
		Later:    Move{Week: 1, Reason: got.Later.Reason},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if got.Earlier.Reason == "" || got.Later.Reason == "" {
		t.Error("no reason given for the moves that are not possible")
	}
	alone, err := Explain(in, Plan{Instance: "sample", Fills: []Fill{{0, 0, 0}}}, Fill{0, 0, 0})
	if err != nil {
		t.Fatal(err)
	}
	// In week 2 the 700000 g meet an order of 700000 g: 5000000 less over and
	// 20000000 more saved.
	if want := (Move{Week: 1, Possible: true, ChangeM: -25_000_000}); alone.Later != want {
		t.Errorf("later: got %+v, want %+v", alone.Later, want)
	}
}

func TestExplainFitsTheCosts(t *testing.T) {
	t.Parallel()
	in := reference(t, "small-s2")
	got := solve(t, in, Options{Steps: 2_000})
	for _, f := range got.Plan.Fills {
		e, err := Explain(in, got.Plan, f)
		if err != nil {
			t.Fatal(err)
		}
		var saved int64
		for _, s := range e.Serves {
			saved += s.SavedM
		}
		if saved-e.FillM != e.WithoutM {
			t.Errorf("fill %v saves %d and costs %d, but leaving it out costs %d", f, saved, e.FillM, e.WithoutM)
		}
	}
}

func TestExplainRefuses(t *testing.T) {
	t.Parallel()
	in := decodeSample(t)
	var absent *NotInPlanError
	if _, err := Explain(in, Plan{Instance: "sample"}, Fill{0, 0, 0}); !errors.As(err, &absent) {
		t.Errorf("a fill not in the plan: %v", err)
	}
	var broken *PlanError
	if _, err := Explain(in, Plan{Instance: "sample", Fills: []Fill{{1, 0, 0}}}, Fill{1, 0, 0}); !errors.As(err, &broken) {
		t.Errorf("a plan that is not feasible: %v", err)
	}
}
