package hygiene_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"breakshare.example/services/harvest/internal/hygiene"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// A. Sonnenberg, Wageningen UR, Hygiene in mushroom cultivation: the day starts
// in the vegetative rooms, then first flush, then second flush. Infonet-
// Biovision: infected beds last.
func TestOrderOfRooms(t *testing.T) {
	t.Parallel()
	rooms := []hygiene.Room{
		{ID: "1", Name: "sick first break", Break: 1, Infected: true}, {ID: "2", Name: "third", Break: 3},
		{ID: "3", Name: "second", Break: 2}, {ID: "4", Name: "sick vegetative", Infected: true},
		{ID: "5", Name: "first B", Break: 1}, {ID: "6", Name: "vegetative"}, {ID: "7", Name: "first A", Break: 1},
		{ID: "9", Name: "third", Break: 3},
	}
	want := []string{"vegetative", "first A", "first B", "second", "third", "third", "sick vegetative", "sick first break"}
	names := func(rooms []hygiene.Room) (out []string) {
		for _, v := range hygiene.Order(rooms) {
			out = append(out, v.Room.Name)
		}
		return out
	}
	if diff := cmp.Diff(want, names(rooms)); diff != "" {
		t.Errorf("order:\n%s", diff)
	}
	visits := hygiene.Order(rooms)
	if visits[4].Room.ID != "2" || !strings.Contains(visits[7].Why, "infected") || !strings.Contains(visits[3].Why, "break 2") || !strings.Contains(visits[0].Why, "vegetative") {
		t.Errorf("visits %+v", visits)
	}
	rapid.Check(t, func(t *rapid.T) {
		if diff := cmp.Diff(want, names(rapid.Permutation(rooms).Draw(t, "rooms"))); diff != "" {
			t.Fatalf("the order handed over changed the order of visiting:\n%s", diff)
		}
	})
}

func pest(t *testing.T, name string) hygiene.Threshold {
	t.Helper()
	all := hygiene.Pests()
	i := slices.IndexFunc(all, func(p hygiene.Pest) bool { return p.Name == name })
	if i < 0 || all[i].Rule == nil {
		t.Fatalf("no threshold for %q", name)
	}
	return *all[i].Rule
}

// Agri-Food and Biosciences Institute, Insect pests of mushrooms: Sciaridae: a
// mean of one larva per 125 g of casing loses 0.5 % of the yield, and control
// costs 0.5 % of the crop's value, so that count is the economic threshold.
func TestSciaridThreshold(t *testing.T) {
	t.Parallel()
	stakes := hygiene.Stakes{CropValue: 1_000_000, ControlCost: 5000}
	sciarid := pest(t, "sciarid fly")
	for _, c := range []struct {
		counts  []hygiene.Count
		loss    int64
		verdict hygiene.Verdict
	}{
		{[]hygiene.Count{{1, 125}}, 5000, hygiene.AtThreshold},
		{[]hygiene.Count{{0, 125}, {2, 125}}, 5000, hygiene.AtThreshold},
		{[]hygiene.Count{{9, 1250}}, 4500, hygiene.Wait},
		{[]hygiene.Count{{11, 1250}}, 5500, hygiene.Act},
		{[]hygiene.Count{{0, 125}}, 0, hygiene.Wait},
		{[]hygiene.Count{{1, 3000}}, 208, hygiene.Wait}, // 208.33
		{[]hygiene.Count{{1_000_000, 1}}, 1_000_000, hygiene.Act},
	} {
		got, err := sciarid.Judge(c.counts, stakes)
		if err != nil || got.ExpectedLoss != c.loss || got.Verdict != c.verdict {
			t.Errorf("%v: %+v, %v; want %d and %v", c.counts, got, err, c.loss, c.verdict)
		}
	}
	if !sciarid.ActAboveCount || hygiene.SciaridCycleDays != 30 {
		t.Error("Penn State Extension: 6 + 18 + 6 days at 65 °F; the institute calls the count an economic threshold")
	}
}

// The same institute, Phoridae: no threshold is set; 50 to 60 larvae per 125 g of
// compost lose about 0.5 %.
func TestPhoridLossWithoutThreshold(t *testing.T) {
	t.Parallel()
	phorid := pest(t, "phorid fly")
	if phorid.ActAboveCount || phorid.Of != "compost" {
		t.Errorf("phorid rule %+v, want a loss without an economic threshold", phorid)
	}
	got, err := phorid.Judge([]hygiene.Count{{50, 125}}, hygiene.Stakes{CropValue: 1_000_000, ControlCost: 5000})
	if err != nil || got.LossPerMille != 5 || got.ExpectedLoss != 5000 {
		t.Errorf("50 larvae in 125 g: %+v, %v; want 5 ‰", got, err)
	}
}

func TestEveryPestHasSignsAndSource(t *testing.T) {
	t.Parallel()
	for _, p := range hygiene.Pests() {
		if p.Name == "" || p.Signs == "" || p.Source == "" {
			t.Errorf("incomplete pest %+v", p)
		}
	}
}

func TestJudgeRefuses(t *testing.T) {
	t.Parallel()
	sciarid, stakes := pest(t, "sciarid fly"), hygiene.Stakes{CropValue: 1, ControlCost: 1}
	var refused *hygiene.CountError
	for _, counts := range [][]hygiene.Count{nil, {{-1, 125}}, {{1, 0}}, {{1_000_001, 125}}} {
		if _, err := sciarid.Judge(counts, stakes); !errors.As(err, &refused) {
			t.Errorf("counts %v: %v", counts, err)
		}
	}
	if _, err := sciarid.Judge([]hygiene.Count{{1, 125}}, hygiene.Stakes{}); !errors.As(err, &refused) {
		t.Errorf("no crop value: %v", err)
	}
}

// Re-entry intervals of 4, 12 and 24 hours applied together: 24 hours count
// (longest rule of the Worker Protection Standard, 40 CFR 170).
func TestLongestReEntryInterval(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	treat := func(product string, after, reEntry, preHarvest time.Duration) hygiene.Treatment {
		return hygiene.Treatment{Product: product, Applied: at.Add(after), ReEntry: reEntry, PreHarvest: preHarvest}
	}
	for name, c := range map[string]struct {
		treatments []hygiene.Treatment
		want       hygiene.Opening
	}{
		"together": {
			[]hygiene.Treatment{treat("a", 0, 4*time.Hour, 0), treat("b", 0, 24*time.Hour, 0), treat("c", 0, 12*time.Hour, 0)},
			hygiene.Opening{at.Add(24 * time.Hour), at.Add(24 * time.Hour), "b", "b"},
		},
		"the later short one": {
			[]hygiene.Treatment{treat("a", 0, 24*time.Hour, 24*time.Hour), treat("b", 22*time.Hour, 4*time.Hour, 48*time.Hour)},
			hygiene.Opening{at.Add(26 * time.Hour), at.Add(70 * time.Hour), "b", "b"},
		},
		"equal ends": {
			[]hygiene.Treatment{treat("z", 0, time.Hour, time.Hour), treat("a", 0, time.Hour, time.Hour)},
			hygiene.Opening{at.Add(time.Hour), at.Add(time.Hour), "a", "a"},
		},
		"none": {nil, hygiene.Opening{}},
	} {
		got, err := hygiene.Opens(c.treatments)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s:\n%s", name, diff)
		}
		slices.Reverse(c.treatments)
		if again, _ := hygiene.Opens(c.treatments); again != got {
			t.Errorf("%s: another order opens at %+v", name, again)
		}
	}
	var refused *hygiene.TreatmentError
	for _, bad := range []hygiene.Treatment{{Product: "undated"}, {Product: "x", Applied: at, ReEntry: -1}} {
		if _, err := hygiene.Opens([]hygiene.Treatment{bad}); !errors.As(err, &refused) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

// Every hazard of room work has its caution, and each leaves the decision to
// whoever has it by law.
func TestCautionsDefer(t *testing.T) {
	t.Parallel()
	var topics []string
	for _, c := range hygiene.Cautions() {
		topics = append(topics, c.Topic)
		if len(c.Text) < 40 {
			t.Errorf("%s: %q says too little", c.Topic, c.Text)
		}
	}
	want := []string{hygiene.CarbonDioxide, hygiene.Spores, hygiene.Lifting, hygiene.Pesticides, hygiene.Steam}
	if diff := cmp.Diff(want, topics); diff != "" {
		t.Errorf("topics:\n%s", diff)
	}
}
