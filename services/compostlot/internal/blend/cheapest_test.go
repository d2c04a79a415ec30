package blend

import (
	"errors"
	"math"
	"slices"
	"testing"
)

// G. B. Dantzig's kind of diet problem in two variables, worked by hand: straw
// (0.5 % N, 40.00 a tonne) and litter (4 % N, 90.00 a tonne), both dry. For
// at least 1.6 % N the cheapest has just that: 1.1/3.5 litter, 31.43 %.
func TestCheapestByHand(t *testing.T) {
	t.Parallel()
	straw := Ingredient{Name: "straw", Nitrogen: new(0.5), PriceCents: 4000}
	litter := Ingredient{Name: "litter", Nitrogen: new(4.0), PriceCents: 9000}
	b := Batch{
		WetGrams: 35_000_000, Offers: []Offer{{Ingredient: straw}, {Ingredient: litter}},
		Bounds: []Bound{{Property: Nitrogen, Low: new(1.6), High: new(1.8)}},
	}
	got, err := Cheapest(b)
	if err != nil {
		t.Fatal(err)
	}
	if got.Parts[0].Grams != 24_000_000 || got.Parts[1].Grams != 11_000_000 || got.Mix.CostCents != 24*4000+11*9000 {
		t.Errorf("%+v", got)
	}
	if !slices.Equal(got.Binds, []string{"nitrogen: lower bound 1.6"}) {
		t.Errorf("binds: %q", got.Binds)
	}
	// With 10 t of litter there is no way; the nearest uses all of it.
	b.Offers[1].MostGrams = new(int64(10_000_000))
	var no *InfeasibleError
	if _, err := Cheapest(b); !errors.As(err, &no) || len(no.Missed) != 1 {
		t.Fatalf("10 t of litter: %v", err)
	}
	if near := *no.Nearest.Mix.Nitrogen; math.Abs(near-1.5) > 1e-6 || len(no.Nearest.Binds) != 1 {
		t.Errorf("nearest %v %%, binds %q; want 1.5 with the litter used up", near, no.Nearest.Binds)
	}
}

func TestCheapestKeepsGypsumAndLeast(t *testing.T) {
	t.Parallel()
	b := Batch{
		WetGrams: 50_000_000,
		Offers: []Offer{
			{Ingredient: Ingredient{Name: "straw", Moisture: 12, Nitrogen: new(0.6), Carbon: new(45.0), PriceCents: 9000}},
			{Ingredient: Ingredient{Name: "litter", Moisture: 37, Nitrogen: new(4.0), CN: new(12.0), PriceCents: 3000}, LeastGrams: 1_000_000},
			{Ingredient: Ingredient{Name: "gypsum", Nitrogen: new(0.0), Carbon: new(0.0), Gypsum: true, PriceCents: 6000}},
			{Ingredient: Water()},
		},
		Bounds: []Bound{
			{Property: Nitrogen, Low: new(1.5), High: new(1.7)}, {Property: Moisture, Low: new(72.0), High: new(75.0)},
			{Property: Gypsum, Low: new(35.0), High: new(50.0)}, {Property: CNRatio, High: new(32.0)},
		},
	}
	got, err := Cheapest(b)
	if err != nil {
		t.Fatal(err)
	}
	m := got.Mix
	if *m.Nitrogen < 1.4999 || *m.Nitrogen > 1.7001 || m.Moisture < 71.999 || m.Moisture > 75.001 || *m.GypsumKgPerTonne < 34.99 || *m.GypsumKgPerTonne > 50.01 || *m.CN > 32.001 {
		t.Errorf("%+v", m)
	}
	if !slices.Contains(got.Binds, "moisture: upper bound 75") {
		t.Errorf("water is free, so moisture binds: %q", got.Binds)
	}
}

func TestImpossibleBatchesAreRefused(t *testing.T) {
	t.Parallel()
	straw := Ingredient{Name: "straw", Nitrogen: new(0.5)}
	for name, b := range map[string]Batch{
		"empty batch":     {Offers: []Offer{{Ingredient: straw}}},
		"no offers":       {WetGrams: 1000},
		"too little":      {WetGrams: 1000, Offers: []Offer{{Ingredient: straw, MostGrams: new(int64(999))}}},
		"too much":        {WetGrams: 1000, Offers: []Offer{{Ingredient: straw, LeastGrams: 600}, {Ingredient: straw, LeastGrams: 600}}},
		"least over most": {WetGrams: 1000, Offers: []Offer{{Ingredient: straw, LeastGrams: 6, MostGrams: new(int64(5))}}},
		"bounds crossed":  {WetGrams: 1000, Offers: []Offer{{Ingredient: straw}}, Bounds: []Bound{{Nitrogen, new(2.0), new(1.0)}}},
		"carbon unknown":  {WetGrams: 1000, Offers: []Offer{{Ingredient: straw}}, Bounds: []Bound{{CNRatio, new(20.0), nil}}},
		"no such bound":   {WetGrams: 1000, Offers: []Offer{{Ingredient: straw}}, Bounds: []Bound{{0, new(20.0), nil}}},
		"bad ingredient":  {WetGrams: 1000, Offers: []Offer{{}}},
	} {
		var bad *InvalidError
		if _, err := Cheapest(b); !errors.As(err, &bad) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
