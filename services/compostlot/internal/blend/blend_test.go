package blend

import (
	"errors"
	"math"
	"strings"
	"testing"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.6g, want %.6g within %g", what, got, want, within)
	}
}

// row is a line of a printed formula: wet and dry tonnes, % nitrogen of dry.
type row struct{ wet, dry, nitrogen float64 }

func recipe(rows []row) []Part {
	var out []Part
	for _, r := range rows {
		out = append(out, Part{Ingredient{
			Name: "x", Moisture: 100 * (r.wet - r.dry) / r.wet, Nitrogen: new(r.nitrogen),
		}, int64(math.Round(r.wet * 1e6))})
	}
	return out
}

// The three worked formulas of Penn State, Substrate Preparation for White
// Button Mushrooms, fact sheet, 2023, section II. The first agrees with its
// print; the second is printed from rounded rows (1.68); the third is printed
// as 1.66, from a nitrogen row of 0.06 t for 0.1 t of urea at 44 %, which
// gives 0.044 t: the exact 1.588 % is right and the print wrong.
func TestPennStateFormulas(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name              string
		rows              []row
		dry, exact, print float64
		printedRows       []float64
	}{
		{"horse-manure pile", []row{{80, 50, 1.2}, {7.5, 6, 4}, {2.5, 2.5, 4}, {1.25, 1.25, 0}}, 59.75, 1.5732, 1.57,
			[]float64{.60, .24, .10, 0}},
		{"synthetic pile", []row{{15, 12.8, 2}, {15, 12.8, .3}, {3.8, 2.4, 4}, {.3, .3, 32}, {.3, .3, 0}, {.6, .6, 0}}, 29.2, 1.6658, 1.68,
			[]float64{.26, .04, .09, .10, 0, 0}},
		{"blend", []row{{15, 10.5, 1.2}, {7.5, 6.3, 1.1}, {7.5, 6.4, .3}, {3, 3, 4}, {2, 2, 4.5}, {.1, .1, 44}, {.2, .2, 0}, {1, 1, 0}}, 29.5, 1.5881, 1.66,
			[]float64{.13, .07, .02, .12, .09, .06, 0, 0}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m, err := Of(recipe(c.rows))
			if err != nil {
				t.Fatal(err)
			}
			near(t, "dry tonnes", m.DryGrams/1e6, c.dry, 1e-6)
			near(t, "% nitrogen", *m.Nitrogen, c.exact, 0.0005)
			var printed float64
			for _, n := range c.printedRows {
				printed += n
			}
			near(t, "the print, from its own rows", 100*printed/c.dry, c.print, 0.005)
			if c.name == "blend" && math.Abs(*m.Nitrogen-c.print) < 0.05 {
				t.Error("the slip of the print is in the result")
			}
		})
	}
}

// Moistures implied by the same formulas' wet and dry columns.
func TestImpliedMoistures(t *testing.T) {
	t.Parallel()
	for _, r := range []struct{ wet, dry, want float64 }{{80, 50, 37.5}, {7.5, 6, 20}, {15, 12.8, 14.67}, {3.8, 2.4, 36.84}} {
		got, err := SampleMoisture(r.wet, 0, r.dry)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "moisture", got, r.want, 0.005)
	}
}

func grass(kg float64) Part {
	return Part{Ingredient{Name: "grass", Moisture: 77, Nitrogen: new(2.4), Carbon: new(45.0)}, int64(kg * 1000)}
}

var leaves = Ingredient{Name: "leaves", Moisture: 35, Nitrogen: new(0.75), Carbon: new(50.0)}

// The grass-and-leaves example of the Cornell Waste Management Institute
// (Trautmann and Richard, Calculating moisture content, 1996; Richard and
// Trautmann, C/N Ratio; contents of the second from memory).
func TestCornellGrassAndLeaves(t *testing.T) {
	t.Parallel()
	m, err := SampleMoisture(10, 4, 6.3)
	if err != nil || m != 77 {
		t.Errorf("sample moisture %v, %v; want 77", m, err)
	}
	g, err := Solve([]Part{grass(10)}, leaves, Goal{Moisture, 60}, nil)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "leaves for 60 % moisture, kg", float64(g)/1000, 6.8, 0.005)
	mix, err := Of([]Part{grass(10), {leaves, g}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "moisture of it", mix.Moisture, 60, 0.01)
	near(t, "C:N of it", *mix.CN, 36.73, 0.01)

	g, err = Solve([]Part{grass(10)}, leaves, Goal{CNRatio, 30}, nil)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "leaves for C:N 30, kg", float64(g)/1000, 3.474, 0.001)
	mix, err = Of([]Part{grass(10), {leaves, g}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "C:N of it", *mix.CN, 30, 0.005)
	near(t, "moisture of it", mix.Moisture, 66.17, 0.005)
	for _, goal := range []float64{30, 80} {
		var no *UnreachableError
		if _, err := Solve([]Part{grass(10)}, leaves, Goal{Moisture, goal}, nil); !errors.As(err, &no) {
			t.Errorf("moisture %v from 77 and 35: %v", goal, err)
		}
	}
}

// Two parts of dry grass and one of dry leaves are C:N 25.23; 33 to 35 would
// mean that ratios were averaged.
func TestRatiosAreNotAveraged(t *testing.T) {
	t.Parallel()
	dry := func(p Part) Part { p.Ingredient.Moisture = 0; return p }
	m, err := Of([]Part{dry(grass(2)), dry(Part{leaves, 1000})})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "C:N", *m.CN, 25.23, 0.01)
}

// Cornell, Estimating carbon content (volatile solids over 1.8) and C/N Ratio.
func TestCarbonOfAshAndRatio(t *testing.T) {
	t.Parallel()
	if c := CarbonOfAsh(10); c != 50 {
		t.Errorf("ash 10 %%: carbon %v, want 50", c)
	}
	if c := CarbonOfRatio(2, 15); c != 30 {
		t.Errorf("nitrogen 2 %%, C:N 15: carbon %v, want 30", c)
	}
	for name, i := range map[string]Ingredient{
		"ash": {Name: "a", Nitrogen: new(2.0), Ash: new(10.0)}, "C:N": {Name: "a", Nitrogen: new(2.0), CN: new(25.0)},
	} {
		m, err := Of([]Part{{i, 1000}})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "carbon from "+name, *m.Carbon, 50, 1e-9)
	}
}

// Water to bring the horse-manure pile (91.25 t, 59.75 t dry) to 72 and 75 %:
// 122.1 and 147.8 t, dry over (1 - moisture) less wet.
func TestWaterNeed(t *testing.T) {
	t.Parallel()
	pile := recipe([]row{{80, 50, 1.2}, {7.5, 6, 4}, {2.5, 2.5, 4}, {1.25, 1.25, 0}})
	for goal, want := range map[float64]float64{72: 122.1, 75: 147.8} {
		g, err := WaterNeed(pile, goal)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "water, t", float64(g)/1e6, want, 0.06)
	}
	var no *UnreachableError
	if _, err := WaterNeed(pile, 30); !errors.As(err, &no) || math.Abs(no.Nearest-34.52) > 0.01 || no.Grams != 0 {
		t.Errorf("a pile at 34.5 %% cannot be dried with water: %v", err)
	}
	if _, err := Solve(pile, Water(), Goal{Nitrogen, 2}, nil); !errors.As(err, &no) || math.Abs(no.Nearest-1.5732) > 1e-3 {
		t.Errorf("water does not change nitrogen: %v", err)
	}
}

// 70-100 lb of gypsum per short ton are 35-50 kg per tonne. The amounts in the
// three Penn State formulas are 42.7, 42.0 and 70.2 lb per ton: below the
// first band but for the last, and near the second (40 lb).
func TestGypsumBands(t *testing.T) {
	t.Parallel()
	lb := func(perTon float64) float64 { return perTon / 2 } // 1 lb per 2000 lb is 0.5 kg per t
	bands := GypsumBands()
	if bands[0].Low != lb(70) || bands[0].High != lb(100) || bands[1].Low != lb(40) {
		t.Errorf("bands %+v", bands)
	}
	for _, c := range []struct {
		gypsum, other, lbPerTon float64
		first                   Standing
	}{{1.25, 58.5, 42.7, Below}, {.6, 28.6, 42.0, Below}, {1, 28.5, 70.2, Within}} {
		m, err := Of([]Part{
			{Ingredient{Name: "dry", Nitrogen: new(1.0)}, int64(c.other * 1e6)},
			{Ingredient{Name: "gypsum", Nitrogen: new(0.0), Carbon: new(0.0), Gypsum: true}, int64(c.gypsum * 1e6)},
		})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "lb per ton", *m.GypsumKgPerTonne*2, c.lbPerTon, 0.05)
		if got := bands[0].Judge(*m.GypsumKgPerTonne); got != c.first {
			t.Errorf("%v lb per ton is %s the band", c.lbPerTon, got)
		}
	}
	if bands[1].Judge(20.4) != Within || bands[1].Judge(21.4) != Above {
		t.Error("the second band is one value, give or take half a kilogram")
	}
}

func TestCostIsToTheCent(t *testing.T) {
	t.Parallel()
	straw := Ingredient{Name: "straw", Moisture: 12, Nitrogen: new(0.6), PriceCents: 12_345}
	m, err := Of([]Part{{straw, 1_500_000}, {Water(), 500_000}})
	if err != nil || m.CostCents != 18_518 || m.CostCentsPerTonne != 9259 { // 18517.5 and 9258.75, half up
		t.Errorf("%d cents, %d a tonne, %v", m.CostCents, m.CostCentsPerTonne, err)
	}
}

func TestUnknownCarbonStaysUnknown(t *testing.T) {
	t.Parallel()
	m, err := Of([]Part{grass(10), {Ingredient{Name: "manure", Moisture: 60, Nitrogen: new(3.0)}, 1000}})
	if err != nil || m.Carbon != nil || m.CN != nil || m.Nitrogen == nil {
		t.Errorf("%+v, %v", m, err)
	}
	var bad *InvalidError
	if _, err := Solve([]Part{grass(10)}, Ingredient{Name: "manure", Moisture: 60, Nitrogen: new(3.0)}, Goal{CNRatio, 20}, nil); !errors.As(err, &bad) || !strings.Contains(bad.Where, "carbon") {
		t.Errorf("C:N without carbon: %v", err)
	}
}

func TestBadInputIsRefused(t *testing.T) {
	t.Parallel()
	fine := Ingredient{Name: "straw", Moisture: 12, Nitrogen: new(0.6)}
	for name, spoil := range map[string]func(*Ingredient){
		"no name":          func(i *Ingredient) { i.Name = "" },
		"moisture 101":     func(i *Ingredient) { i.Moisture = 101 },
		"moisture NaN":     func(i *Ingredient) { i.Moisture = math.NaN() },
		"no nitrogen":      func(i *Ingredient) { i.Nitrogen = nil },
		"nitrogen -1":      func(i *Ingredient) { i.Nitrogen = new(-1.0) },
		"ash and carbon":   func(i *Ingredient) { i.Ash, i.Carbon = new(10.0), new(40.0) },
		"C:N beyond carbn": func(i *Ingredient) { i.CN = new(1000.0) },
		"negative price":   func(i *Ingredient) { i.PriceCents = -1 },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			i := fine
			spoil(&i)
			var bad *InvalidError
			if _, err := Of([]Part{{i, 1000}}); !errors.As(err, &bad) || bad.Problem == "" {
				t.Errorf("got %v", err)
			}
		})
	}
	var bad *InvalidError
	for name, err := range map[string]error{
		"negative mass": second(Of([]Part{{fine, -1}})), "empty": second(Of(nil)),
		"container twice": second(SampleMoisture(10, 4, 3)), "unknown unit": second(Grams(1, "stone")),
		"negative amount": second(Grams(-1, Kilogram)), "too much": second(Grams(1e9, Tonne)),
		"no goal":       second(Solve([]Part{{fine, 1}}, fine, Goal{}, nil)),
		"goal too high": second(Solve([]Part{{fine, 1}}, fine, Goal{Moisture, 100}, nil)),
		"stock below 0": second(Solve([]Part{{fine, 1}}, fine, Goal{Moisture, 50}, new(int64(-1)))),
	} {
		if !errors.As(err, &bad) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func second[T any](_ T, err error) error { return err }
