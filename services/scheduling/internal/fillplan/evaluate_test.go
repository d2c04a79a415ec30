package fillplan

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestEvaluate works the format's formula by hand on the sample: both rooms are
// filled in week 1, N1 again in week 2.
func TestEvaluate(t *testing.T) {
	t.Parallel()
	in := decodeSample(t)
	fills := []Fill{{0, 0, 0}, {1, 0, 1}}
	// Week 0: 500000 - 1000 short. Week 1: N1 yields 700000, 100000 over.
	// Week 2: N2 yields 1400000, 700000 over.
	// N1: floor(101*100*2/2) = 10100 cents. N2 the same for 200 m2: 20200.
	want := Cost{Short: 499_000 * 200, Over: 800_000 * 50, Fill: 30_300_000}
	if got := Evaluate(in, fills); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	// In week 2 only one of two weeks lies inside: floor(101*200/2) = 10100, and
	// of 101*100/2 = 5050. No yield counts.
	want = Cost{Short: 499_000*200 + 1_300_000*200, Fill: 10_100_000 + 5_050_000}
	if got := Evaluate(in, []Fill{{1, 0, 2}, {0, 0, 2}}); got != want {
		t.Errorf("at the end: got %+v, want %+v", got, want)
	}
	in.Programmes[0].CostCents = 99
	in.Rooms[0].Area = 1
	if got := Evaluate(in, []Fill{{0, 0, 2}}).Fill; got != 49_000 {
		t.Errorf("half of 99 cents: got %d, want it rounded down to 49000", got)
	}
}

func TestEvaluateOfDoingNothingIsTheConstantAndTheShortage(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"tiny-s1", "small-s2", "large-s1"} {
		in := reference(t, name)
		var want int64
		for q := range in.Products {
			for w := range in.Weeks {
				d, s := in.DemandGrams[q][w], in.SupplyGrams[q][w]
				if d > s {
					want += (d - s) * in.Products[q].ShortCents
				} else {
					want += (s - d) * in.Products[q].OverCents
				}
			}
		}
		if got := Evaluate(in, nil).M(); got != want {
			t.Errorf("%s: got %d, want %d", name, got, want)
		}
	}
}

func TestCheck(t *testing.T) {
	t.Parallel()
	in := decodeSample(t)
	for _, c := range []struct {
		name, instance string
		fills          []Fill
		reasons        []string
	}{
		{"nothing", "sample", nil, nil},
		{"feasible in any order", "sample", []Fill{{1, 0, 1}, {0, 0, 0}}, nil},
		{"another instance", "other", nil, []string{`instance "other"`}},
		{"no such room", "sample", []Fill{{2, 0, 0}}, []string{"no room 2"}},
		{"no such programme", "sample", []Fill{{0, -1, 0}}, []string{"no programme -1"}},
		{"no such week", "sample", []Fill{{0, 0, 3}}, []string{"week 3"}},
		{"not free", "sample", []Fill{{1, 0, 0}}, []string{"not free before week 1"}},
		{"overlap", "sample", []Fill{{0, 0, 0}, {0, 0, 1}}, []string{"occupies it until week 2"}},
		{"twice", "sample", []Fill{{0, 0, 0}, {0, 0, 0}}, []string{"occupies it", "18000 kg"}},
		{"yard", "sample", []Fill{{0, 0, 1}, {1, 0, 1}}, []string{"27000 kg of compost, the yards can deliver 20000"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			err := Check(in, Plan{Instance: c.instance, Fills: c.fills})
			if len(c.reasons) == 0 {
				if err != nil {
					t.Fatal(err)
				}
				return
			}
			var broken *PlanError
			if !errors.As(err, &broken) || len(broken.Violations) != len(c.reasons) {
				t.Fatalf("got %v, want %d violations", err, len(c.reasons))
			}
			for i, reason := range c.reasons {
				if got := broken.Violations[i].Reason; !strings.Contains(got, reason) {
					t.Errorf("got %q, want %q", got, reason)
				}
			}
		})
	}
	barred := decodeSample(t)
	barred.Rooms[0].Programmes = nil
	if err := Check(barred, Plan{Instance: "sample", Fills: []Fill{{0, 0, 0}}}); err == nil || !strings.Contains(err.Error(), "cannot grow") {
		t.Errorf("programme not allowed: %v", err)
	}
}

func TestCents(t *testing.T) {
	t.Parallel()
	for m, want := range map[int64]string{0: "0.00", 4: "0.00", 5: "0.01", 7_211_976_500: "7211976.50", -5: "0.00", -6: "-0.01", -1234: "-1.23"} {
		if got := Cents(m); got != want {
			t.Errorf("Cents(%d) = %s, want %s", m, got, want)
		}
	}
}

func TestCanonicalAndBefore(t *testing.T) {
	t.Parallel()
	p := Plan{Instance: "x", Fills: []Fill{{1, 0, 3}, {0, 1, 5}, {0, 2, 1}}}
	want := []Fill{{0, 2, 1}, {0, 1, 5}, {1, 0, 3}}
	if diff := cmp.Diff(want, p.Canonical().Fills); diff != "" {
		t.Error(diff)
	}
	// By (week, room, programme) the first fill decides: week 1 before week 2.
	if a, b := []Fill{{0, 0, 9}, {5, 0, 1}}, []Fill{{0, 0, 2}}; !Before(a, b) || Before(b, a) || Before(a, a) {
		t.Error("a plan that fills earlier must come first")
	}
}
