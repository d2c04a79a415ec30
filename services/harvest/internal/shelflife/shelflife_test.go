package shelflife_test

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"breakshare.example/services/harvest/internal/shelflife"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// UC Davis Postharvest (Suslow and Cantwell): 5–7 days at 1.5 °C, 2 days at
// 4.5 °C. Thaijaidee et al. 2003: 10 days at 1, 3 and 5 °C, 4 days at 25 °C.
// The two conflict; the shortest counts.
func TestPublishedLives(t *testing.T) {
	t.Parallel()
	tables := shelflife.Defaults()
	for _, c := range []struct {
		tenthC, hours int
		source        string
	}{{15, 120, "UC Davis"}, {45, 48, "UC Davis"}, {0, 120, "UC Davis"}} {
		hours, source, err := shelflife.Life(tables, shelflife.Agaricus, c.tenthC)
		if err != nil || hours != c.hours || !strings.HasPrefix(source, c.source) {
			t.Errorf("life at %d tenths: %d h by %q (%v), want %d h by %s", c.tenthC, hours, source, err, c.hours, c.source)
		}
	}
	thai := tables[1:2]
	for _, c := range []struct{ tenthC, days int }{{10, 10}, {30, 10}, {50, 10}, {250, 4}} {
		if hours, _, err := shelflife.Life(thai, shelflife.Agaricus, c.tenthC); err != nil || hours != c.days*24 {
			t.Errorf("the trial's life at %d tenths: %d h (%v), want %d days", c.tenthC, hours, err, c.days)
		}
	}
	// Ten degrees above the warmest point divide life by 2.9.
	if hours, _, err := shelflife.Life(tables, shelflife.Agaricus, 145); err != nil || hours != 16 {
		t.Errorf("life at 14.5 °C: %d h (%v), want 48/2.9 = 16", hours, err)
	}
}

func TestWarmerNeverKeepsLonger(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		product := rapid.SampledFrom([]string{shelflife.Agaricus, shelflife.Oyster}).Draw(t, "product")
		cold := rapid.IntRange(-20, 300).Draw(t, "cold")
		warm := cold + rapid.IntRange(0, 100).Draw(t, "more")
		a, _, errA := shelflife.Life(shelflife.Defaults(), product, cold)
		b, _, errB := shelflife.Life(shelflife.Defaults(), product, warm)
		if errA != nil || errB != nil || b > a {
			t.Fatalf("%d h at %d tenths, %d h at %d tenths", a, cold, b, warm)
		}
	})
}

func TestRemainingAddsUpUsedLife(t *testing.T) {
	t.Parallel()
	tables := shelflife.Defaults()
	for _, c := range []struct {
		past []shelflife.Spell
		want int
	}{
		{nil, 120},
		{[]shelflife.Spell{{60, 15}}, 60},
		{[]shelflife.Spell{{24, 45}}, 60},           // half of 48 h is half of 120 h
		{[]shelflife.Spell{{24, 45}, {30, 15}}, 30}, // and a quarter more
		{[]shelflife.Spell{{30, 15}, {24, 45}}, 30}, // in whatever order
		{[]shelflife.Spell{{100, 45}}, 0},
	} {
		got, err := shelflife.Remaining(tables, shelflife.Agaricus, c.past, 15)
		if err != nil || got != c.want {
			t.Errorf("after %v: %d h left (%v), want %d", c.past, got, err, c.want)
		}
	}
}

func TestOldestOutFirst(t *testing.T) {
	t.Parallel()
	lots := []shelflife.Lot{{"b", 10, 5}, {"a", 10, 5}, {"young", 1, 1}, {"spent", 10, 2}, {"old", 30, 90}}
	before := slices.Clone(lots)
	var got []string
	for _, l := range shelflife.OldestFirst(lots) {
		got = append(got, l.Code)
	}
	if diff := cmp.Diff([]string{"old", "spent", "a", "b", "young"}, got); diff != "" {
		t.Errorf("order:\n%s", diff)
	}
	if diff := cmp.Diff(before, lots); diff != "" {
		t.Errorf("the lots handed over were moved:\n%s", diff)
	}
}

// UC Davis Postharvest: best at 0–1.5 °C (32–35 °F). Common practice, no source:
// 35–45 °F (1.7–7.2 °C). USDA Agriculture Handbook 66, from memory: freezes at
// about −0.9 °C.
func TestStoreRange(t *testing.T) {
	t.Parallel()
	for tenthC, want := range map[int]shelflife.StoreState{
		-20: shelflife.StoreFrozen, -9: shelflife.StoreFrozen, -8: shelflife.StoreUsable, 0: shelflife.StoreBest,
		15: shelflife.StoreBest, 16: shelflife.StoreUsable, 72: shelflife.StoreUsable, 73: shelflife.StoreWarm,
	} {
		if got := shelflife.StoreAt(tenthC); got != want {
			t.Errorf("%d tenths: %v, want %v", tenthC, got, want)
		}
	}
}

func TestShelfLifeRefuses(t *testing.T) {
	t.Parallel()
	var unknown *shelflife.UnknownProductError
	if _, _, err := shelflife.Life(shelflife.Defaults(), "truffle", 15); !errors.As(err, &unknown) {
		t.Errorf("unknown product: %v", err)
	}
	var table *shelflife.TableError
	for _, points := range [][]shelflife.Point{nil, {{15, 0, 5}}, {{15, 5, 4}}, {{15, 5, 6}, {15, 4, 5}}} {
		if _, err := shelflife.Remaining([]shelflife.Table{{Product: "x", Points: points}}, "x", []shelflife.Spell{{1, 15}}, 15); !errors.As(err, &table) {
			t.Errorf("table %v: %v", points, err)
		}
	}
	var spell *shelflife.SpellError
	if _, err := shelflife.Remaining(shelflife.Defaults(), shelflife.Oyster, []shelflife.Spell{{-1, 15}}, 15); !errors.As(err, &spell) {
		t.Errorf("negative stay: %v", err)
	}
}

func near(t *testing.T, name string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %v, want %v ± %v", name, got, want, within)
	}
}

// UC Davis Postharvest: ml CO₂ per kg and hour × 440 are Btu per ton and day, ×
// 122 kcal per tonne and day.
func TestHeatFactors(t *testing.T) {
	t.Parallel()
	btu := []float64{6160, 9680, 15_400, 22_000, 58_080, 69_520}
	kcal := []float64{1708, 2684, 4270, 6100, 16_104, 19_276}
	var ml []float64
	for _, r := range shelflife.RespirationTable() {
		ml = append(ml, r.Low)
		if r.High != r.Low {
			ml = append(ml, r.High)
		}
	}
	if len(ml) != len(btu) {
		t.Fatalf("respiration table gives %v", ml)
	}
	for i, r := range ml {
		near(t, "Btu", r*shelflife.BtuPerShortTonDayPerML, btu[i], 1e-9)
		near(t, "kcal", r*shelflife.KcalPerTonneDayPerML, kcal[i], 1e-9)
	}
	// One factor follows from the other: 1 kcal = 3.9683 Btu, 1 tonne = 1.10231
	// short tons.
	near(t, "61 kcal/t in Btu/ton", shelflife.KcalPerTonneDayPerMG*3.9683/1.10231, shelflife.BtuPerShortTonDayPerMG, 0.003*220)
}

// 500 kg at 5 °C and 71 mg CO₂/(kg·h) (UC Davis, older edition): 2165.5 kcal a
// day, 104.9 W; 1 mg/(kg·h) is 2.954 W per tonne.
func TestHeatOfAStore(t *testing.T) {
	t.Parallel()
	near(t, "500 kg", shelflife.HeatWatts(500_000, 71), 104.9, 0.1)
	near(t, "one tonne", shelflife.HeatWatts(1_000_000, 1), 2.954, 0.001)
	near(t, "from the table at 5 °C", shelflife.StoreHeatWatts(500_000, 50), 500./1000*35*122*4184/86400, 1e-6)
	near(t, "between rows", shelflife.StoreHeatWatts(1_000_000, 75), 42.5*122*4184/86400, 1e-6)
	near(t, "below the table", shelflife.StoreHeatWatts(1_000_000, -5), 22*122*4184/86400., 1e-6)
	near(t, "above the table", shelflife.StoreHeatWatts(1_000_000, 300), 158*122*4184/86400., 1e-6)
}

// Iqbal et al. (Journal of Food Science 2009): oxygen use from 0 to 20 °C rises
// from 22.13 to 102.41 ml/(kg·h) whole and 28.87 to 143.22 sliced. UC Davis mid
// values 50 at 10 °C and 145 at 20 °C give 2.9.
func TestQ10Examples(t *testing.T) {
	t.Parallel()
	near(t, "whole", shelflife.Q10(22.13, 0, 102.41, 20), 2.151, 0.001)
	near(t, "sliced", shelflife.Q10(28.87, 0, 143.22, 20), 2.227, 0.001)
	near(t, "UC Davis", shelflife.Q10(50, 10, 145, 20), 2.9, 0.001)
}

// Varoquaux et al. 1999, Postharvest Biology and Technology 16:51–61, states
// 43,400 J/mol beside a Q10 of 2.9 from 10 to 20 °C. They contradict each other:
// that energy gives 1.875, that Q10 needs 73,480 J/mol.
func TestArrheniusConflictIsRefused(t *testing.T) {
	t.Parallel()
	near(t, "Q10 of 43,400 J/mol", shelflife.ArrheniusQ10(43_400, 10), 1.875, 0.002)
	near(t, "energy of Q10 2.9", shelflife.Activation(2.9, 10), 73_480, 40)
	var conflict *shelflife.ConflictError
	if err := shelflife.CheckPair(43_400, 2.9, 10); !errors.As(err, &conflict) || !strings.Contains(err.Error(), "2.90") {
		t.Errorf("the contradictory pair: %v", err)
	}
	if err := shelflife.CheckPair(73_480, 2.9, 10); err != nil {
		t.Errorf("a pair that agrees: %v", err)
	}
	if err := shelflife.CheckPair(43_400, 1.875, 10); err != nil {
		t.Errorf("a pair that agrees: %v", err)
	}
}
