package programme_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/scheduling/internal/programme"
)

func builtin(t testing.TB, id string) *programme.Programme {
	t.Helper()
	all, err := programme.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range all {
		if p.ID == id {
			return p
		}
	}
	t.Fatalf("no built-in programme %q", id)
	return nil
}

// agaricusIDs are the built-in programmes that the published Agaricus figures
// speak of.
var agaricusIDs = []string{"white-shelves", "white-bulk-2", "white-bulk-3", "white-trays", "brown-shelves", "brown-bulk-2"}

// Stage lengths as published: phase I 6-14 d (AMB Express 2017, doi
// 10.1186/s13568-017-0438-6); phase II 7-18 d, spawn run 14-21 d, casing to first
// pick 15-21 d (D. M. Beyer, Basic Procedures for Agaricus Mushroom Growing, Penn
// State); harvest usually 35-42 d (Six Steps to Mushroom Farming, Penn State).
func TestAgaricusStagesArePublishedRanges(t *testing.T) {
	t.Parallel()
	published := []struct {
		from, to    programme.StageKind
		least, most int64
	}{
		{programme.PhaseI, "", 6, 14},
		{programme.PhaseII, "", 7, 18},
		{programme.SpawnRun, "", 14, 21},
		{programme.Casing, programme.Cropping, 15, 21},
		{programme.Cropping, "", 35, 42},
	}
	for _, id := range agaricusIDs {
		p := builtin(t, id)
		var least, usual, most, pickLeast, pickUsual, pickMost int64
		for _, want := range published {
			stage, _ := p.Stage(want.from)
			days := stage.Days
			if want.to != "" {
				days, _ = p.Between(want.from, want.to)
			}
			if days.Least != want.least || days.Most != want.most {
				t.Errorf("%s: %s takes %d-%d d, published %d-%d", id, want.from, days.Least, days.Most, want.least, want.most)
			}
			if want.from == programme.Cropping {
				pickLeast, pickUsual, pickMost = least, usual, most
			}
			least, usual, most = least+days.Least, usual+days.Usual, most+days.Most
		}
		// Sums of the published ranges: 77-116 d contains the published 14 weeks;
		// first pick 42-74 d contains the published 7 to 8 weeks.
		if least != 77 || most != 116 || least > 98 || most < 98 {
			t.Errorf("%s: whole cycle %d-%d d, want 77-116 around 98", id, least, most)
		}
		if pickLeast != 42 || pickMost != 74 || pickLeast > 49 || pickMost < 56 {
			t.Errorf("%s: first pick after %d-%d d, want 42-74 around 49-56", id, pickLeast, pickMost)
		}
		if pickUsual < 49 || pickUsual > 56 {
			t.Errorf("%s: usual first pick after %d d, published 7 to 8 weeks", id, pickUsual)
		}
		// "About 14 weeks": the usual values lie within a week of it.
		if usual < 98-7 || usual > 98+7 {
			t.Errorf("%s: usual cycle %d d, published about 98", id, usual)
		}
	}
}

// Break rhythm: a 7-10 d cycle with 3-4 breaks (Beyer, Basic Procedures). With the
// first break on day 0 the third starts on day 14-20 and the fourth on day 21-30,
// both inside a harvest of 35-42 d.
func TestAgaricusBreakRhythm(t *testing.T) {
	t.Parallel()
	for _, id := range agaricusIDs {
		p := builtin(t, id)
		got := [][2]int64{
			{2 * p.Breaks.Interval.Least, 2 * p.Breaks.Interval.Most},
			{3 * p.Breaks.Interval.Least, 3 * p.Breaks.Interval.Most},
		}
		if diff := cmp.Diff([][2]int64{{14, 20}, {21, 30}}, got); diff != "" {
			t.Errorf("%s: third and fourth break (-published +got):\n%s", id, diff)
		}
		if n := len(p.Breaks.Shares.PerMille); n < 3 || n > 4 {
			t.Errorf("%s: %d breaks, published 3-4", id, n)
		}
		cropping, _ := p.Stage(programme.Cropping)
		if last := 3*p.Breaks.Interval.Most + p.Breaks.Width.Most; last > cropping.Days.Least {
			t.Errorf("%s: the fourth break can end on day %d, after the shortest harvest of %d d", id, last, cropping.Days.Least)
		}
	}
}

// Cool-down before spawning to 24-27 °C (75-80 °F): common practice, no source.
// Spawn run 75-77 °F: Beyer, Basic Procedures. 75, 77 and 80 °F are 23.9, 25.0
// and 26.7 °C.
func TestAgaricusTemperatures(t *testing.T) {
	t.Parallel()
	for _, id := range agaricusIDs {
		p := builtin(t, id)
		spawning, _ := p.Stage(programme.Spawning)
		cool := spawning.Climate.Compost
		if *cool.Least != 240 || *cool.Most != 270 {
			t.Errorf("%s: spawning at %d-%d tenths of °C, want 240-270", id, *cool.Least, *cool.Most)
		}
		for tenths, inside := range map[int64]bool{239: false, 240: true, 255: true, 270: true, 271: false} {
			if cool.Holds(tenths) != inside {
				t.Errorf("%s: Holds(%d) = %v", id, tenths, !inside)
			}
		}
		run, _ := p.Stage(programme.SpawnRun)
		if b := run.Climate.Compost; *b.Least != fahrenheit(75) || *b.Most != fahrenheit(77) {
			t.Errorf("%s: spawn run at %d-%d tenths of °C, published 75-77 °F", id, *b.Least, *b.Most)
		}
	}
}

// fahrenheit turns whole °F into tenths of °C, rounded to nearest.
func fahrenheit(f int64) int64 {
	return ((f-32)*100 + 9) / 18
}

// Tunnel-compost trial: 19.4 kg/m² at 0.66 kg fresh per kg dry compost and 70.4 %
// moisture, so 29.39 kg dry and 99.30 kg wet per m² (Miller, Harper, Macauley,
// Gulliver 1990). Yield on phase I compost by weight: 18-25 kg per 100 kg by the
// short method (ICAR Directorate of Mushroom Research, Table 1).
func TestAgaricusFillAgainstTrials(t *testing.T) {
	t.Parallel()
	p := builtin(t, "white-bulk-2")
	dry := 19.4 / 0.66
	wet := dry / (1 - 0.704) * 1000
	if got := float64(p.Inputs.Compost.Grams); got < wet*0.995 || got > wet*1.005 {
		t.Errorf("phase II compost %v g/m², trial %v", got, wet)
	}
	shelf := builtin(t, "white-shelves")
	per100 := shelf.Breaks.Yield.Usual * 100 / shelf.Inputs.Compost.Grams
	if per100 < 18 || per100 > 25 {
		t.Errorf("usual yield is %d kg per 100 kg compost, published 18-25", per100)
	}
}

// Lion's mane biological efficiency 70.47-92.31 % over ten strains, mean 85.66 %
// (Horticulturae 2025, 11(10):1220); shiitake spawn run 58 to 116 d (Royse 1985,
// Mycologia 77:756); oyster spawn run 12-21 d and spawn 3.75-5 % of wet weight
// with supplement 6 % of dry (Royse et al. 2004, Bioresource Technology 91:85-91).
func TestOtherSpecies(t *testing.T) {
	t.Parallel()
	lm := builtin(t, "lions-mane-blocks")
	dry := lm.Inputs.Compost.Grams * 40 / 100 // 60 % water
	want := [3]int64{dry * 7047 / 10000, dry * 8566 / 10000, dry * 9231 / 10000}
	if diff := cmp.Diff(want, [3]int64{lm.Breaks.Yield.Least, lm.Breaks.Yield.Usual, lm.Breaks.Yield.Most}); diff != "" {
		t.Errorf("lion's mane yield (-published efficiency +got):\n%s", diff)
	}
	sh, _ := builtin(t, "shiitake-blocks").Stage(programme.SpawnRun)
	if sh.Days.Least != 58 || sh.Days.Most != 116 {
		t.Errorf("shiitake spawn run %d-%d d", sh.Days.Least, sh.Days.Most)
	}
	oy := builtin(t, "oyster-bags")
	run, _ := oy.Stage(programme.SpawnRun)
	if run.Days.Least != 12 || run.Days.Most != 21 {
		t.Errorf("oyster spawn run %d-%d d", run.Days.Least, run.Days.Most)
	}
	// 100 kg wet at 68 % water: spawn 3.75-5.00 kg, supplement 1.92 kg.
	per100 := func(grams int64) int64 { return grams * 100_000 / oy.Inputs.Compost.Grams }
	if got := per100(oy.Inputs.Spawn.Grams); got < 3750 || got > 5000 {
		t.Errorf("oyster spawn %d g per 100 kg wet", got)
	}
	if got := per100(oy.Inputs.Supplement.Grams); got != 1920 {
		t.Errorf("oyster supplement %d g per 100 kg wet, want 1920", got)
	}
}
