package exposure

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The gates of the published limits: ammonia after the Minnesota Department of
// Agriculture and OSHA, hydrogen sulphide after PMC5777517 table 3, oxygen
// after 29 CFR 1910.146.
func TestGates(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name     string
		reading  Reading
		limit    string // the worst that is reached, empty for none
		standing Standing
		advice   Advice
	}{
		{"NH3 25 ppm, 8 h", Reading{Ammonia, 25_000, 8 * hour}, "NIOSH recommended limit", At, Watch},
		{"NH3 26 ppm, 8 h", Reading{Ammonia, 26_000, 8 * hour}, "NIOSH recommended limit", Over, Leave},
		{"NH3 36 ppm, 15 min", Reading{Ammonia, 36_000, 15 * minute}, "short-term limit (15 min)", Over, Leave},
		{"NH3 51 ppm, 8 h", Reading{Ammonia, 51_000, 8 * hour}, "OSHA permissible limit", Over, Leave},
		{"NH3 40 ppm, one look", Reading{Ammonia, 40_000, 0}, "short-term limit (15 min)", Over, Leave},
		{"NH3 26 ppm, one look", Reading{Ammonia, 26_000, 0}, "NIOSH recommended limit", Over, Watch},
		{"NH3 300 ppm", Reading{Ammonia, 300_000, 0}, "immediately dangerous to life or health", At, Flee},
		{"NH3 24 ppm, 8 h", Reading{Ammonia, 24_000, 8 * hour}, "", Under, Usual},
		{"H2S 10 ppm", Reading{HydrogenSulphide, 10_000, 10 * minute}, "NIOSH ceiling (10 min)", At, Leave},
		{"H2S 21 ppm", Reading{HydrogenSulphide, 21_000, 0}, "OSHA ceiling", Over, Leave},
		{"H2S 51 ppm", Reading{HydrogenSulphide, 51_000, 0}, "OSHA peak (10 min once, without other exposure)", Over, Leave},
		{"H2S 100 ppm", Reading{HydrogenSulphide, 100_000, 0}, "immediately dangerous to life or health", At, Flee},
		{"CO2 5,001 ppm, 8 h", Reading{CarbonDioxide, 5_001_000, 8 * hour}, "OSHA permissible limit", Over, Leave},
		{"CO2 40,000 ppm", Reading{CarbonDioxide, 40_000_000, 0}, "immediately dangerous to life or health", At, Flee},
		{"O2 19.4 %", Reading{Oxygen, 19_400, 0}, "least oxygen of a confined space", Over, Leave},
		{"O2 19.5 %", Reading{Oxygen, 19_500, 0}, "", Under, Usual},
		{"O2 23.5 %", Reading{Oxygen, 23_500, 0}, "", Under, Usual},
		{"O2 23.6 %", Reading{Oxygen, 23_600, 0}, "most oxygen of a confined space", Over, Leave},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := Judge(c.reading, Limits())
			if err != nil {
				t.Fatal(err)
			}
			if got.Advice != c.advice || !strings.Contains(got.Sentence, Deference) {
				t.Errorf("advice %d: %s", got.Advice, got.Sentence)
			}
			if c.limit == "" {
				if len(got.Findings) != 0 {
					t.Errorf("reached %+v", got.Findings)
				}
				return
			}
			if last := got.Findings[len(got.Findings)-1]; last.Limit.Name != c.limit || last.Standing != c.standing {
				t.Errorf("highest reached is %s (%d), want %s (%d)", last.Limit.Name, last.Standing, c.limit, c.standing)
			}
			if !strings.Contains(got.Sentence, c.limit) {
				t.Errorf("%q does not name the %s", got.Sentence, c.limit)
			}
		})
	}
}

// More gas is never less urgent, and a longer reading neither.
func TestMoreIsNeverBetter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := Reading{
			Gas:     rapid.SampledFrom([]Gas{Ammonia, HydrogenSulphide, CarbonDioxide}).Draw(t, "gas"),
			Milli:   rapid.Int64Range(0, 60_000_000).Draw(t, "value"),
			Seconds: rapid.Int64Range(0, 9*hour).Draw(t, "time"),
		}
		more := r
		more.Milli += rapid.Int64Range(0, 1_000_000).Draw(t, "more")
		more.Seconds += rapid.Int64Range(0, 9*hour).Draw(t, "longer")
		a, err := Judge(r, Limits())
		if err != nil {
			t.Fatal(err)
		}
		b, err := Judge(more, Limits())
		if err != nil || b.Advice < a.Advice || len(b.Findings) < len(a.Findings) {
			t.Fatalf("%+v: %d; %+v: %d (%v)", r, a.Advice, more, b.Advice, err)
		}
	})
}

// The example of 29 CFR 1910.1000(d)(1)(i): two hours at 150 ppm, two at 75
// and four at 50 are 81.25 ppm (from memory).
func TestWorkingDay(t *testing.T) {
	t.Parallel()
	got, err := WorkingDay([]Spell{{150_000, 2 * hour}, {75_000, 2 * hour}, {50_000, 4 * hour}})
	if err != nil || got != 81_250 {
		t.Errorf("%d, %v; want 81250", got, err)
	}
	if got, err := WorkingDay([]Spell{{1, 1}}); err != nil || got != 1 {
		t.Errorf("%d, %v: rounds up", got, err)
	}
	for _, bad := range [][]Spell{{{-1, 1}}, {{1, -1}}, {{1, 25 * hour}}, {{1, 13 * hour}, {1, 13 * hour}}} {
		var no *InvalidError
		if _, err := WorkingDay(bad); !errors.As(err, &no) {
			t.Errorf("%v: %v", bad, err)
		}
	}
}

func TestReadingsThatCannotBe(t *testing.T) {
	t.Parallel()
	for name, r := range map[string]Reading{
		"unknown gas": {"argon", 1, 0}, "negative": {Ammonia, -1, 0}, "oxygen above all": {Oxygen, 100_001, 0}, "time": {Oxygen, 20_000, -1},
	} {
		var bad *InvalidError
		if _, err := Judge(r, Limits()); !errors.As(err, &bad) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestLimitsNameTheirSources(t *testing.T) {
	t.Parallel()
	for _, l := range Limits() {
		if l.Source == "" || l.Seen == "" || l.Milli <= 0 {
			t.Errorf("%+v", l)
		}
	}
}

func TestChecklist(t *testing.T) {
	t.Parallel()
	bunker, tunnel := EntryChecklist(Bunker), EntryChecklist(Tunnel)
	if slices.Equal(bunker, tunnel) {
		t.Error("a bunker and a tunnel have hazards of their own")
	}
	for _, must := range []string{"permit", "locked", "19.5 to 23.5", "second person", "breathing apparatus"} {
		for _, list := range [][]string{bunker, tunnel} {
			if !strings.Contains(strings.Join(list, "\n"), must) {
				t.Errorf("the list does not speak of %q", must)
			}
		}
	}
}
