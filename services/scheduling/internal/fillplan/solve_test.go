package fillplan

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// known are the costs in reference.json of the instances beside it: the optimum
// where proven, otherwise the best found by independent general-purpose solvers.
func known(t testing.TB) map[string]struct {
	BestM     int64   `json:"best_m"`
	BestBound float64 `json:"best_bound"`
	Optimal   bool    `json:"optimal"`
} {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "..", "..", "testdata", "fillplan", "reference.json"))
	if err != nil {
		t.Fatal(err)
	}
	var m map[string]struct {
		BestM     int64   `json:"best_m"`
		BestBound float64 `json:"best_bound"`
		Optimal   bool    `json:"optimal"`
	}
	if err := json.Unmarshal(data, &m); err != nil {
		t.Fatal(err)
	}
	return m
}

func TestSolveProvesTheOptimumOfTinyInstances(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]int64{"tiny-s1": 7_211_976_500, "tiny-s2": 7_734_297_500} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if m := known(t)[name].BestM; m != want {
				t.Fatalf("reference.json says %d, want %d", m, want)
			}
			got := solve(t, reference(t, name), Options{Steps: 500_000})
			if got.M != want || got.BoundM != want || !got.Optimal() || got.Gap() != 0 {
				t.Errorf("M %d, bound %d, want both %d", got.M, got.BoundM, want)
			}
		})
	}
}

func TestSolveComesCloseToTheBestKnown(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		steps int64
		// cost is the most by which the cost may pass the best known, bound the
		// least part of it that must be proven. What whole budgets reach on all
		// instances, BenchmarkSolve tells.
		cost, bound float64
	}{
		{"small-s2", 25_000, 0.01, 0.70},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			ref := known(t)[c.name]
			got := solve(t, reference(t, c.name), Options{Steps: c.steps})
			if most := float64(ref.BestM) * (1 + c.cost); float64(got.M) > most {
				t.Errorf("M %d, want at most %.0f", got.M, most)
			}
			if least := float64(ref.BestM) * c.bound; float64(got.BoundM) < least {
				t.Errorf("bound %d, want at least %.0f", got.BoundM, least)
			}
			if got.BoundM > ref.BestM {
				t.Errorf("bound %d is above the known cost %d", got.BoundM, ref.BestM)
			}
			if ref.Optimal && got.M < ref.BestM {
				t.Errorf("M %d is below the proven optimum %d", got.M, ref.BestM)
			}
		})
	}
}

// solve solves and checks what must hold of every result.
func solve(t testing.TB, in *Instance, opts Options) Result {
	t.Helper()
	got, err := Solve(context.Background(), in, opts)
	if err != nil {
		t.Fatal(err)
	}
	if err := Check(in, got.Plan); err != nil {
		t.Fatal(err)
	}
	if m := Evaluate(in, got.Plan.Fills).M(); m != got.M || got.Cost.M() != m {
		t.Fatalf("M %d, but the plan costs %d", got.M, m)
	}
	if got.BoundM > got.M+got.WishM {
		t.Fatalf("bound %d above the cost %d + %d", got.BoundM, got.M, got.WishM)
	}
	return got
}

func TestSolveAgainstEveryPlan(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		in := smallInstance(rt)
		least := int64(math.MaxInt64)
		if !everyPlan(in, 5000, func(fills []Fill) { least = min(least, Evaluate(in, fills).M()) }) {
			return
		}
		got := solve(t, in, Options{Steps: 30_000, Seed: rapid.Uint64().Draw(rt, "seed")})
		if got.M < least || got.BoundM > least {
			rt.Fatalf("M %d, bound %d, the optimum is %d", got.M, got.BoundM, least)
		}
		if got.M != least {
			rt.Fatalf("M %d, the optimum is %d", got.M, least)
		}
	})
}

func TestSolveIsDeterministic(t *testing.T) {
	t.Parallel()
	in := reference(t, "small-s2")
	a := solve(t, in, Options{Steps: 2_000, Seed: 7})
	b := solve(t, in, Options{Steps: 2_000, Seed: 7})
	if diff := cmp.Diff(a, b); diff != "" {
		t.Errorf("same seed and steps, different result (-first +second):\n%s", diff)
	}
}

func TestSolveTellsOfImprovements(t *testing.T) {
	t.Parallel()
	in := reference(t, "small-s1")
	cost, bound, calls := int64(math.MaxInt64), int64(math.MinInt64), 0
	got := solve(t, in, Options{Steps: 4_000, Improved: func(p Plan, c, b int64) {
		calls++
		if c > cost || b < bound || c == cost && b == bound {
			t.Errorf("told of cost %d and bound %d after %d and %d", c, b, cost, bound)
		}
		cost, bound = c, b
		if m := Evaluate(in, p.Fills).M(); m != c {
			t.Errorf("told of cost %d, the plan costs %d", c, m)
		}
	}})
	if calls == 0 || cost != got.M || bound != got.BoundM {
		t.Errorf("last told of %d and %d in %d calls, result %d and %d", cost, bound, calls, got.M, got.BoundM)
	}
}

func TestSolveStopsWithItsContext(t *testing.T) {
	t.Parallel()
	in := reference(t, "medium-s1")
	ctx, cancel := context.WithCancel(context.Background())
	calls := 0
	got, err := Solve(ctx, in, Options{Improved: func(Plan, int64, int64) {
		if calls++; calls == 3 {
			cancel()
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	if calls != 3 {
		t.Errorf("told %d times, want the work to end with the third", calls)
	}
	if err := Check(in, got.Plan); err != nil || got.BoundM > got.M {
		t.Errorf("M %d, bound %d, check %v", got.M, got.BoundM, err)
	}
	if _, err := Solve(ctx, in, Options{}); err != nil {
		t.Errorf("a context that has ended: %v", err)
	}
}

func TestSolveRefuses(t *testing.T) {
	t.Parallel()
	in := reference(t, "tiny-s1")
	if _, err := Solve(context.Background(), in, Options{}); !errors.Is(err, ErrNoLimit) {
		t.Errorf("no limit: %v", err)
	}
	bad := in.Clone()
	bad.Rooms[2].Area = 0
	var wrong *InstanceError
	if _, err := Solve(context.Background(), bad, Options{Steps: 1}); !errors.As(err, &wrong) || wrong.Path != "rooms[2].area" {
		t.Errorf("room without area: %v", err)
	}
}

// TestSolveWithNothingToDecide proves at once what needs no search, and ends.
func TestSolveWithNothingToDecide(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*Instance){
		"no rooms":      func(in *Instance) { in.Rooms = nil },
		"no programmes": func(in *Instance) { in.Rooms[0].Programmes, in.Rooms[1].Programmes = nil, nil },
		"never free":    func(in *Instance) { in.Rooms[0].Free, in.Rooms[1].Free = 3, 99 },
		"no compost":    func(in *Instance) { clear(in.YardKg) },
		"no products": func(in *Instance) {
			in.Products, in.SupplyGrams, in.DemandGrams = nil, nil, nil
			in.Programmes = nil
			in.Rooms = nil
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in := decodeSample(t)
			change(in)
			got := solve(t, in, Options{Steps: 1_000_000})
			if len(got.Plan.Fills) > 0 || !got.Optimal() {
				t.Errorf("plan %v, M %d, bound %d", got.Plan.Fills, got.M, got.BoundM)
			}
		})
	}
}

// BenchmarkSolve gives the planner the time of its quality aims, and tells how far
// the cost is from the best known and how much of the best known is proven.
// testdata/fillplan says how that was found.
func BenchmarkSolve(b *testing.B) {
	for _, c := range []struct {
		name  string
		limit time.Duration
	}{
		{"tiny-s1", 5 * time.Second}, {"tiny-s2", 5 * time.Second},
		{"small-s1", 2 * time.Second}, {"small-s2", 2 * time.Second},
		{"medium-s1", 10 * time.Second}, {"medium-s2", 10 * time.Second},
		{"small-s1", time.Minute}, {"small-s2", time.Minute},
		{"medium-s1", time.Minute}, {"medium-s2", time.Minute}, {"large-s1", time.Minute},
	} {
		b.Run(fmt.Sprintf("%s/%v", c.name, c.limit), func(b *testing.B) {
			in, ref := reference(b, c.name), known(b)[c.name]
			for b.Loop() {
				ctx, cancel := context.WithTimeout(context.Background(), c.limit)
				got, err := Solve(ctx, in, Options{})
				cancel()
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(got.M)/1000, "cost")
				b.ReportMetric(float64(got.BoundM)/1000, "bound")
				b.ReportMetric(100*got.Gap(), "%gap")
				b.ReportMetric(100*(float64(got.M)/float64(ref.BestM)-1), "%above-known")
				b.ReportMetric(100*(float64(got.BoundM)/1000/ref.BestBound-1), "%bound-above-known")
			}
		})
	}
}
