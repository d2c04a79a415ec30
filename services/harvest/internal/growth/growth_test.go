package growth_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/forecast"
	"breakshare.example/services/harvest/internal/growth"
)

var fill = day.On(2026, time.October, 1)

// whites is a bulk crop of 200 m²: casing on day 17, first pick 18 days later.
func whites() growth.Crop {
	days := func(least, usual, most int64) *growth.Range {
		return &growth.Range{Least: least, Usual: usual, Most: most}
	}
	return growth.Crop{
		ID: "ab-1-20261001", Species: "white mushroom", AreaM2: 200, Fill: fill, Free: fill.Add(70),
		Steps: []growth.StepDate{
			{Step: growth.Filling, Start: fill, Real: true, Days: days(0, 0, 0)},
			{Step: growth.Spawning, Start: fill, Days: days(0, 0, 0)},
			{Step: "spawn run", Start: fill, Days: days(14, 17, 21)},
			{Step: growth.Casing, Start: fill.Add(17), Days: days(0, 0, 0)},
			{Step: "case run", Start: fill.Add(17), Days: days(5, 7, 9)},
			{Step: growth.Pinning, Start: fill.Add(24), Days: days(10, 11, 12)},
			{Step: growth.Cropping, Start: fill.Add(35)},
		},
		Profile: &growth.Profile{
			After:     growth.Casing,
			FirstPick: growth.Range{Least: 15, Usual: 18, Most: 21, Source: "Penn State, Basic Procedures for Agaricus Mushroom Growing, 2003", Basis: forecast.Published},
			Interval:  growth.Range{Least: 7, Usual: 8, Most: 10}, Width: growth.Range{Least: 3, Usual: 4, Most: 5},
			Shares: []int64{500, 330, 170}, Yield: growth.Range{Least: 16000, Usual: 22000, Most: 30000},
			Bears: []growth.Share{{"closed", 700}, {"veiled", 200}, {"open", 100}},
		},
	}
}

// Steps add up: 14–21 d of spawn run and 15–21 d from casing (Penn State, Basic
// Procedures for Agaricus Mushroom Growing, 2003) make a first pick about 35 days
// after spawning, within the 29 to 42 that the ranges add up to.
func TestLagsAddUp(t *testing.T) {
	t.Parallel()
	p, err := whites().ForecastProfile()
	if err != nil {
		t.Fatal(err)
	}
	lag := map[forecast.Stage]forecast.Range{}
	for _, l := range p.FirstPick {
		lag[l.From] = l.Days
	}
	if got := lag[forecast.Spawned]; got.Likely != 35 || got.Low < 29 || got.Low > 33 || got.High > 42 || got.High < 38 {
		t.Errorf("from spawning %v to %v to %v days", got.Low, got.Likely, got.High)
	}
	if got := lag[forecast.Cased]; got.Likely != 18 || got.Basis != forecast.Published {
		t.Errorf("from casing %+v, want what the programme says", got)
	}
	if got := lag[forecast.Aired]; got.Likely != 11 {
		t.Errorf("from airing %+v", got)
	}
}

// A stage that came late moves the forecast with it; picks move it again.
func TestForecastFollowsWhatHappened(t *testing.T) {
	t.Parallel()
	first := func(c growth.Crop, picks []growth.Picked, from day.Date) int {
		t.Helper()
		m, err := c.Model()
		if err != nil {
			t.Fatal(err)
		}
		f, err := c.Forecast(m, picks, from, 60)
		if err != nil {
			t.Fatal(err)
		}
		return f.Breaks()[0].FirstDay
	}
	planned := first(whites(), nil, fill.Add(5))
	late := whites()
	late.Steps[3].Start, late.Steps[3].Real = fill.Add(22), true
	if got := first(late, nil, fill.Add(23)); got < planned+3 || got > planned+7 {
		t.Errorf("cased five days late, the first break begins on day %d instead of %d", got, planned)
	}
	picked := []growth.Picked{{Day: fill.Add(35), Grams: 200000}, {Day: fill.Add(36), Grams: 500000}, {Day: fill.Add(37), Grams: 400000}}
	if got := first(whites(), picked, fill.Add(38)); got > 37 {
		t.Errorf("in the midst of a break, it begins on day %d", got)
	}
}

func TestDayMostAndProfiles(t *testing.T) {
	t.Parallel()
	// 200 m² × 30 kg/m² bear 6 t; more than half of it on one day is no pick.
	if got := whites().DayMost(); got < 500_000 || got > 3_000_000 {
		t.Errorf("200 m² bear at most %d g a day", got)
	}
	bare := whites()
	bare.Profile = nil
	if got := bare.DayMost(); got < 500_000 || got > 3_000_000 {
		t.Errorf("by the shipped profile 200 m² bear at most %d g a day", got)
	}
	bare.Species = "truffle"
	if got := bare.DayMost(); got != 0 {
		t.Errorf("of a species nobody knows at most %d g", got)
	}
	var none *growth.NoProfileError
	if _, err := bare.Model(); !errors.As(err, &none) || none.CropID != bare.ID {
		t.Errorf("a model without a profile: %v", err)
	}
	if c := whites(); c.CanBear("flat") || !c.CanBear("open") || !c.CanBear("") || !bare.CanBear("flat") {
		t.Error("closed, veiled and open are borne, flat is not; without a profile anything is")
	}
}

func TestSharesOverProducts(t *testing.T) {
	t.Parallel()
	goods := []growth.Product{
		{ID: "white-open", Stage: "open"}, {ID: "white-closed-2", Stage: "closed"}, {ID: "white-closed-1", Stage: "closed"},
	}
	got := whites().Shares(goods)
	want := []forecast.PickStage{{Name: "white-closed-1", PerMille: 350000}, {Name: "white-closed-2", PerMille: 350000}, {Name: "white-open", PerMille: 100000}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	slices.Reverse(goods)
	if diff := cmp.Diff(want, whites().Shares(goods)); diff != "" {
		t.Errorf("in another order (-want +got):\n%s", diff)
	}
	// A crop picked mostly open learns so, and a product that sells alone in its stage takes all of it.
	goods[1].Weight, goods[2] = 90000, growth.Product{ID: "white-open", Stage: "open", Weight: 900000, Learned: 900000}
	got = whites().Shares(goods)
	if got[0].PerMille != 0 && got[1].PerMille != 0 || got[2].PerMille < 300000 {
		t.Errorf("after open picks %+v", got)
	}
	// A product of no stage takes whatever comes.
	got = whites().Shares([]growth.Product{{ID: "white-any", Weight: 3}, {ID: "white-closed", Stage: "closed", Weight: 1}})
	if diff := cmp.Diff([]forecast.PickStage{{Name: "white-any", PerMille: 750000}, {Name: "white-closed", PerMille: 250000}}, got); diff != "" {
		t.Errorf("with a product of no stage (-want +got):\n%s", diff)
	}
	if got := whites().Shares(nil); len(got) != 0 {
		t.Errorf("of no products %v", got)
	}
}
