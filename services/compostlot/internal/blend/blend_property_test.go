package blend

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func drawIngredient(t *rapid.T, name string) Ingredient {
	return Ingredient{
		Name: name, Moisture: rapid.Float64Range(0, 85).Draw(t, "moisture"), Nitrogen: new(rapid.Float64Range(0.2, 8).Draw(t, "nitrogen")),
		Carbon: new(rapid.Float64Range(10, 50).Draw(t, "carbon")), PriceCents: rapid.Int64Range(0, 50_000).Draw(t, "price"),
	}
}

func drawParts(t *rapid.T) []Part {
	var out []Part
	for i := range rapid.IntRange(1, 5).Draw(t, "parts") {
		out = append(out, Part{drawIngredient(t, fmt.Sprint(i)), rapid.Int64Range(1_000_000, 90_000_000).Draw(t, "grams")})
	}
	return out
}

// What solves for a goal, remixed, gives the goal; what cannot is refused with
// a nearest value that lies between the ends, never with a negative mass.
func TestSolveThenRemix(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		parts, with := drawParts(t), drawIngredient(t, "added")
		goal := Goal{rapid.SampledFrom([]Property{Moisture, Nitrogen, CNRatio}).Draw(t, "property"), rapid.Float64Range(1, 60).Draw(t, "goal")}
		stock := rapid.Int64Range(0, 500_000_000).Draw(t, "stock")
		before, err := Of(parts)
		if err != nil {
			t.Fatal(err)
		}
		grams, err := Solve(parts, with, goal, &stock)
		var no *UnreachableError
		if errors.As(err, &no) {
			was, _ := before.value(goal.Property)
			if math.Abs(no.Nearest-goal.Value) > math.Abs(was-goal.Value)+1e-9 || no.Grams < 0 || no.Grams > stock {
				t.Fatalf("nearest %v is further from %v than %v: %v", no.Nearest, goal.Value, was, no)
			}
			return
		}
		if err != nil || grams < 0 || grams > stock {
			t.Fatalf("%d g of %d g, %v", grams, stock, err)
		}
		after, err := Of(append(parts, Part{with, grams}))
		if err != nil {
			t.Fatal(err)
		}
		if got, _ := after.value(goal.Property); math.Abs(got-goal.Value) > 1e-3 {
			t.Fatalf("%v of %v asked, %v after adding %d g", goal.Property, goal.Value, got, grams)
		}
	})
}

func TestWaterChangesMoistureOnly(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		parts := drawParts(t)
		dry, err := Of(parts)
		if err != nil {
			t.Fatal(err)
		}
		wet, err := Of(append(parts, Part{Water(), rapid.Int64Range(0, 1e9).Draw(t, "water")}))
		if err != nil {
			t.Fatal(err)
		}
		if !close(*dry.Nitrogen, *wet.Nitrogen) || !close(*dry.CN, *wet.CN) || !close(dry.DryGrams, wet.DryGrams) || wet.Moisture < dry.Moisture-1e-9 {
			t.Fatalf("%+v, with water %+v", dry, wet)
		}
	})
}

func TestGypsumLowersNitrogen(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		parts := drawParts(t)
		without, err := Of(parts)
		if err != nil {
			t.Fatal(err)
		}
		gypsum := Ingredient{Name: "gypsum", Nitrogen: new(0.0), Carbon: new(0.0), Gypsum: true}
		with, err := Of(append(parts, Part{gypsum, rapid.Int64Range(100_000, 1e8).Draw(t, "gypsum")}))
		if err != nil || *with.Nitrogen >= *without.Nitrogen || !close(*with.CN, *without.CN) {
			t.Fatalf("%v: nitrogen %v and C:N %v, with gypsum %v and %v", err, *without.Nitrogen, *without.CN, *with.Nitrogen, *with.CN)
		}
	})
}

// The same heap in tonnes, short tons and pounds, and ten times the heap, has
// the same contents.
func TestUnitsAndScaleChangeNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		parts := drawParts(t)
		want, err := Of(parts)
		if err != nil {
			t.Fatal(err)
		}
		for _, u := range []Unit{Kilogram, Tonne, Pound, ShortTon, GallonOfWater} {
			again := make([]Part, len(parts))
			for i, p := range parts {
				amount, err := In(p.Grams, u)
				if err != nil {
					t.Fatal(err)
				}
				g, err := Grams(amount, u)
				if err != nil || g != p.Grams {
					t.Fatalf("%d g are %v %s are %d g, %v", p.Grams, amount, u, g, err)
				}
				again[i] = Part{p.Ingredient, g * 10}
			}
			got, err := Of(again)
			if err != nil || !close(*got.Nitrogen, *want.Nitrogen) || !close(*got.CN, *want.CN) || !close(got.Moisture, want.Moisture) || got.CostCentsPerTonne != want.CostCentsPerTonne {
				t.Fatalf("%v: %+v, ten times as much %+v", err, want, got)
			}
		}
	})
}

func close(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(a)) }

// No mixture drawn at random within the bounds is cheaper than the cheapest,
// and the cheapest keeps its bounds.
func TestCheapestIsCheapest(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		const batch = 10_000_000
		b := Batch{WetGrams: batch}
		var weights []float64
		var sum float64
		for i := range rapid.IntRange(2, 5).Draw(t, "offers") {
			b.Offers = append(b.Offers, Offer{Ingredient: drawIngredient(t, fmt.Sprint(i))})
			w := rapid.Float64Range(0.05, 1).Draw(t, "share")
			weights, sum = append(weights, w), sum+w
		}
		shares := make([]float64, len(weights))
		for i, w := range weights {
			shares[i] = w / sum
		}
		some, err := b.recipe(shares)
		if err != nil {
			t.Fatal(err)
		}
		slack := rapid.Float64Range(0.01, 3).Draw(t, "slack")
		for _, p := range []Property{Nitrogen, CNRatio, Moisture} {
			v, _ := some.Mix.value(p)
			b.Bounds = append(b.Bounds, Bound{p, new(math.Max(0, v-slack)), new(v + slack)})
		}
		best, err := Cheapest(b)
		if err != nil {
			t.Fatal(err)
		}
		if best.Mix.WetGrams != batch || best.Mix.CostCents > some.Mix.CostCents+1 {
			t.Fatalf("%d g for %d, another for %d", best.Mix.WetGrams, best.Mix.CostCents, some.Mix.CostCents)
		}
		for _, bound := range b.Bounds {
			if v, _ := best.Mix.value(bound.Property); v < *bound.Low-1e-3 || v > *bound.High+1e-3 {
				t.Fatalf("%v is %v, outside %v to %v", bound.Property, v, *bound.Low, *bound.High)
			}
		}
		if len(best.Binds) == 0 && best.Mix.CostCents > 0 && len(best.Parts) > 1 {
			t.Fatal("a mixture of several parts is bound by something")
		}
	})
}
