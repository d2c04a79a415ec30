package programme_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"breakshare.example/services/scheduling/internal/programme"
)

func TestBuiltinCoversTheTrade(t *testing.T) {
	t.Parallel()
	all, err := programme.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	type way struct {
		species string
		system  programme.System
	}
	have := map[way]bool{}
	for i, p := range all {
		have[way{p.Species, p.System}] = true
		if i > 0 && all[i-1].ID >= p.ID {
			t.Errorf("%s stands after %s", p.ID, all[i-1].ID)
		}
	}
	for _, want := range []way{
		{"white mushroom", programme.Shelves}, {"white mushroom", programme.BulkPhaseII},
		{"brown mushroom", programme.Shelves}, {"brown mushroom", programme.BulkPhaseII},
		{"oyster mushroom", programme.BagsOrBlocks}, {"shiitake", programme.BagsOrBlocks},
		{"lion's mane", programme.BagsOrBlocks},
	} {
		if !have[want] {
			t.Errorf("no programme for %s on %s", want.species, want.system)
		}
	}
}

func TestBuiltinFilesAreCanonical(t *testing.T) {
	t.Parallel()
	all, err := programme.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range all {
		file, err := os.ReadFile(filepath.Join("builtin", p.ID+".json"))
		if err != nil {
			t.Fatal(err)
		}
		again, err := p.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(string(file), string(again)); diff != "" {
			t.Errorf("%s is not as Encode writes it (-file +encoded):\n%s", p.ID, diff)
		}
	}
}

// Every source of a built-in programme is used, and says so honestly: what is
// not published says in its words that it is practice or memory.
func TestBuiltinSources(t *testing.T) {
	t.Parallel()
	all, err := programme.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range all {
		text, err := p.Encode()
		if err != nil {
			t.Fatal(err)
		}
		for key, s := range p.Sources {
			if !strings.Contains(string(text), `"source": "`+key+`"`) {
				t.Errorf("%s: source %q is not used", p.ID, key)
			}
			switch s.Status {
			case programme.CommonPractice:
				if !strings.Contains(s.Text, "common practice") {
					t.Errorf("%s: source %q is common practice and does not say so: %s", p.ID, key, s.Text)
				}
			case programme.FromMemory:
				if !strings.Contains(s.Text, "from memory") {
					t.Errorf("%s: source %q is from memory and does not say so: %s", p.ID, key, s.Text)
				}
			}
		}
		for _, s := range p.Stages {
			if s.Kind == programme.CookOut && !strings.Contains(s.Caution, "Steam") {
				t.Errorf("%s: cook-out carries no caution of steam", p.ID)
			}
			if s.Caution != "" && !strings.Contains(s.Caution, "Local codes, product labels and licensed practice decide.") {
				t.Errorf("%s: the caution of %s does not defer to local codes", p.ID, s.Kind)
			}
		}
	}
}

func TestProducts(t *testing.T) {
	t.Parallel()
	p := builtin(t, "white-shelves")
	want := []programme.Product{{Species: "white mushroom", Stage: programme.Closed}, {Species: "white mushroom", Stage: programme.Veiled}, {Species: "white mushroom", Stage: programme.Open}}
	if diff := cmp.Diff(want, p.Products()); diff != "" {
		t.Errorf("products (-want +got):\n%s", diff)
	}
	if !p.CanBear(programme.Product{Species: "white mushroom", Stage: programme.Veiled}) {
		t.Error("white cannot be picked veiled")
	}
	if p.CanBear(programme.Product{Species: "shiitake", Stage: programme.Open}) {
		t.Error("white bears shiitake")
	}
}

func TestCycleAndBetween(t *testing.T) {
	t.Parallel()
	p := builtin(t, "white-bulk-2")
	// filling 0, spawning 0, spawn run 17, casing to first pick 19, cropping 35,
	// cook-out 2, idle 1.
	if got := p.Cycle().Usual; got != 74 {
		t.Errorf("usual cycle %d d, want 74", got)
	}
	if _, ok := p.Between(programme.Cropping, programme.Casing); ok {
		t.Error("days between stages the wrong way round")
	}
	if _, ok := p.Between("sauna", programme.Casing); ok {
		t.Error("days from a stage that is not there")
	}
}

func TestNeeds(t *testing.T) {
	t.Parallel()
	grams := func(v int64) *int64 { return &v }
	got := builtin(t, "white-bulk-2").Needs(200)
	want := programme.Needs{CompostGrams: 19_860_000, SpawnGrams: 140_000, CasingGrams: grams(6_000_000), SupplementGrams: grams(236_000)}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("needs of 200 m² (-want +got):\n%s", diff)
	}
	if got := builtin(t, "shiitake-blocks").Needs(10); got.CasingGrams != nil || got.SupplementGrams != nil {
		t.Errorf("shiitake needs casing or supplement: %+v", got)
	}
	if got := builtin(t, "white-bulk-2").WorkMinutes(programme.Casing, 200); got != 800 {
		t.Errorf("casing 200 m² takes %d minutes, want 800", got)
	}
}

func TestYieldSplitsToTheGram(t *testing.T) {
	t.Parallel()
	p := builtin(t, "white-shelves")
	rapid.Check(t, func(t *rapid.T) {
		q := p.Copy("mine", "Mine")
		a := rapid.Int64Range(0, 1000).Draw(t, "first")
		q.Breaks.Shares.PerMille = []int64{a, 1000 - a}
		q.Breaks.Yield.Usual = rapid.Int64Range(1, 1_000_000).Draw(t, "yield")
		area := rapid.Int64Range(0, 100_000).Draw(t, "area")
		parts := q.YieldGrams(area)
		if sum := parts[0] + parts[1]; sum != q.Breaks.Yield.Usual*area {
			t.Fatalf("parts sum to %d of %d", sum, q.Breaks.Yield.Usual*area)
		}
		if exact := q.Breaks.Yield.Usual * area * a / 1000; parts[0] < exact || parts[0] > exact+1 {
			t.Fatalf("first break %d, exact %d", parts[0], exact)
		}
	})
}

// A copy shares nothing with its original: changing every part of it leaves the
// original as it was.
func TestCopyAndNextShareNothing(t *testing.T) {
	t.Parallel()
	original, pristine := builtin(t, "white-shelves"), builtin(t, "white-shelves")
	mine := original.Copy("house-white", "House white")
	next := mine.Next()
	if mine.Version != 1 || next.Version != 2 || next.ID != "house-white" {
		t.Fatalf("copy is version %d, next is %q version %d", mine.Version, next.ID, next.Version)
	}
	next.Stages[0].Days.Usual++
	*next.Stages[1+1].Climate.Compost.Least++
	next.Inputs.Casing.Grams++
	next.Inputs.Supplement.Grams++
	next.Breaks.Shares.PerMille[0]++
	next.Bears[0].PerMille++
	next.Sources["mine"] = programme.Source{Text: "own records", Status: programme.CommonPractice}
	if diff := cmp.Diff(pristine, original); diff != "" {
		t.Errorf("the original changed:\n%s", diff)
	}
	if mine.Version = pristine.Version; cmp.Diff(pristine.Copy("house-white", "House white"), mine) != "" {
		t.Error("the first version changed with the next")
	}
}

func TestDecodeRefusesUnreadableText(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		text         string
		line, column int
		says         string
	}{
		"cut off":    {"{\n  \"programme_id\": \"x\",\n", 3, 1, "ends before"},
		"misspelt":   {"{\"programme_id\": \"x\",\n\"sistem\": \"trays\"}", 2, 1, `unknown field "sistem"`},
		"wrong kind": {"{\"version\":\n \"one\"}", 2, 7, `field "version" cannot hold a string`},
	} {
		_, err := programme.Decode([]byte(c.text))
		var format *programme.FormatError
		if !errors.As(err, &format) {
			t.Errorf("%s: error %v, want a FormatError", name, err)
			continue
		}
		if format.Line != c.line || format.Column != c.column || !strings.Contains(format.Error(), c.says) {
			t.Errorf("%s: %v, want line %d column %d saying %q", name, format, c.line, c.column, c.says)
		}
	}
	good, err := builtin(t, "oyster-bags").Encode()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := programme.Decode(append(good, "{}"...)); err == nil || !strings.Contains(err.Error(), "something follows") {
		t.Errorf("two programmes in one text: %v", err)
	}
}

// Whatever Decode accepts is valid and survives a round trip; whatever it
// refuses is refused with one of the two typed errors.
func FuzzDecode(f *testing.F) {
	all, err := programme.Builtin()
	if err != nil {
		f.Fatal(err)
	}
	for _, p := range all {
		text, err := p.Encode()
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte(`{"programme_id":"x","stages":[{"kind":"filling","climate":{"co2_ppm":{}}}]}`))
	f.Add([]byte(`[]`))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := programme.Decode(text)
		if err != nil {
			var format *programme.FormatError
			var invalid *programme.InvalidError
			if !errors.As(err, &format) && !errors.As(err, &invalid) {
				t.Fatalf("untyped error %v", err)
			}
			return
		}
		again, err := p.Encode()
		if err != nil {
			t.Fatal(err)
		}
		back, err := programme.Decode(again)
		if err != nil {
			t.Fatalf("own output refused: %v", err)
		}
		if diff := cmp.Diff(p, back); diff != "" {
			t.Fatalf("round trip:\n%s", diff)
		}
	})
}
