package words_test

import (
	"testing"

	"pgregory.net/rapid"

	"breakshare.example/gateway/internal/words"
)

// american are the units of the United States' customary system.
var american = words.Units{Pounds: true, Fahrenheit: true}

// The factors are those of NIST Special Publication 811 (2008), appendix B: 1 lb = 0.45359237 kg,
// 1 short ton = 907.18474 kg, and t/°F = 1.8 t/°C + 32.
func TestCustomaryUnits(t *testing.T) {
	t.Parallel()
	languages := load(t)
	en, de := languages.All()[0].In(american), languages.Match("de", "").In(american)
	for _, c := range []struct{ got, want string }{
		{en.Mass(453_592), "1\u202f000.0 lb"}, {en.Weight(1_000_000), "2\u202f204.6"}, {de.Mass(45_359), "100,0 lb"}, {en.Weight(-4_536), "−10.0"},
		{en.Tonnes(907), "1.0"}, {en.Tonnes(18_144), "20.0"}, {en.Whole(454), "1\u202f001"},
		{en.Degrees(0), "32.0 °F"}, {en.Degrees(100_000), "212.0 °F"}, {en.Degrees(-40_000), "−40.0 °F"}, {en.Degrees(57_200), "135.0 °F"}, {de.Degrees(37_000), "98,6 °F"},
		{en.T("pick.so_far", "1", "2"), "1 of 2 lb"}, {en.T("slots.got", "1", "2"), "1 of 2 short tons"},
		{en.Field(5_670), "12.5"}, {en.Field(0), "0"}, {en.Field(1), "0.002"}, {de.Field(5_443), "12"},
		{languages.All()[0].Mass(1_250), "1.3 kg"}, {languages.All()[0].Degrees(57_200), "57.2 °C"}, {en.In(words.Units{}).Mass(1_000), "1.0 kg"},
		{en.Weight(1<<63 - 1), "9\u202f223\u202f372\u202f036\u202f854\u202f775.8"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
	for typed, want := range map[string]int64{"1": 454, "2.205": 1_000, "12.5": 5_670, "1000": 453_592, "0,01": 5, "0.001": 0} {
		if got, ok := en.Grams(typed); !ok || got != want {
			t.Errorf("Grams(%q) = %d, %v, want %d", typed, got, ok, want)
		}
	}
	if en.Step(1_500) != 3_500 || en.Step(100) != 500 || languages.All()[0].Step(1_500) != 1_500 {
		t.Errorf("steps of %d and %d thousandths of a pound", en.Step(1_500), en.Step(100))
	}
}

// What a form's field shows reads as the same grams, and a pound's hundredth that was typed is
// shown again as it was typed.
func TestFieldsKeepTheirFigures(t *testing.T) {
	t.Parallel()
	languages := load(t)
	rapid.Check(t, func(t *rapid.T) {
		u := words.Units{Pounds: rapid.Bool().Draw(t, "pounds")}
		l := rapid.SampledFrom(languages.All()).Draw(t, "language").In(u)
		grams := rapid.Int64Range(0, 450_000_000).Draw(t, "grams")
		if got, ok := l.Grams(l.Field(grams)); !ok || got != grams {
			t.Fatalf("%s: %d g is written %q and read as %d", l.Tag(), grams, l.Field(grams), got)
		}
		typed := l.In(words.Units{}).Field(rapid.Int64Range(0, 50_000_000).Draw(t, "hundredths") * 10)
		if got, _ := l.Grams(typed); l.Field(got) != typed {
			t.Fatalf("%s: %q is read as %d g and written %q", l.Tag(), typed, got, l.Field(got))
		}
	})
}

func TestTemperaturesAndPricesComeBack(t *testing.T) {
	t.Parallel()
	l := load(t).All()[0].In(american)
	rapid.Check(t, func(t *rapid.T) {
		milli := rapid.Int64Range(-100_000, 200_000).Draw(t, "milli")
		if got := l.Celsius(l.Temperature(milli)); got != milli {
			t.Fatalf("%d thousandths of °C come back as %d", milli, got)
		}
		minor := rapid.Int64Range(0, 1_000_000_000).Draw(t, "minor")
		if got := l.PerTonne(l.ForTonne(minor)); got != minor {
			t.Fatalf("%d for a short ton comes back as %d", minor, got)
		}
		if got := l.PerMass(l.ForMass(minor)); got != minor {
			t.Fatalf("%d for a pound comes back as %d", minor, got)
		}
	})
}

func TestCoarseKeepsTheBand(t *testing.T) {
	t.Parallel()
	languages := load(t)
	rapid.Check(t, func(t *rapid.T) {
		l := languages.All()[0].In(words.Units{Pounds: rapid.Bool().Draw(t, "pounds")})
		grams := rapid.Int64Range(0, 10_000_000).Draw(t, "grams")
		low, mid, high := l.Coarse(grams, -1), l.Coarse(grams, 0), l.Coarse(grams, 1)
		if low > grams+1 || high < grams-1 || low > mid || mid > high || high-low > 100 {
			t.Fatalf("%d g becomes %d, %d and %d", grams, low, mid, high)
		}
	})
}
