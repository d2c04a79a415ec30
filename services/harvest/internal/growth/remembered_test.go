package growth

import (
	"fmt"
	"testing"

	"breakshare.example/services/harvest/internal/forecast"
)

// Whatever an answer rests on makes another question.
func TestForecastsAreRememberedByAllTheyRestOn(t *testing.T) {
	t.Parallel()
	last := 60
	crop := func(change func(*forecast.Crop)) forecast.Crop {
		c := forecast.Crop{
			Seed: 7, AreaTenthM2: 2000, Stages: []forecast.StageDate{{Stage: forecast.Cased, Day: 20}},
			Picks: []forecast.Pick{{Day: 38, Grams: 100_000}, {Day: 39, Grams: 1}},
		}
		if change != nil {
			change(&c)
		}
		return c
	}
	questions := map[string]string{}
	ask := func(what, spelled string) {
		if other, ok := questions[spelled]; ok {
			t.Errorf("%s and %s are one question", what, other)
		}
		questions[spelled] = what
	}
	ask("the crop", spelled(crop(nil), 40, 28))
	ask("another day", spelled(crop(nil), 41, 28))
	ask("fewer days", spelled(crop(nil), 40, 27))
	for i, change := range []func(*forecast.Crop){
		func(c *forecast.Crop) { c.Seed++ },
		func(c *forecast.Crop) { c.AreaTenthM2++ },
		func(c *forecast.Crop) { c.LastDay = &last },
		func(c *forecast.Crop) { c.Stages[0].Day++ },
		func(c *forecast.Crop) { c.Stages[0].Stage = forecast.Aired },
		func(c *forecast.Crop) { c.Stages = nil },
		func(c *forecast.Crop) { c.Picks[1].Grams-- },
		func(c *forecast.Crop) { c.Picks = c.Picks[:1] },
		func(c *forecast.Crop) { c.Picks[0].Day-- },
		func(c *forecast.Crop) { c.Picks[1].Open = true },
	} {
		ask(fmt.Sprintf("change %d", i), spelled(crop(change), 40, 28))
	}
	m, err := forecast.New(forecast.Defaults()[0], forecast.Shipped())
	if err != nil {
		t.Fatal(err)
	}
	r := remembered{made: map[asked]*forecast.Forecast{}}
	first, err := r.of(m, crop(nil), 40, 28)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := r.of(m, crop(nil), 40, 28); err != nil || again != first {
		t.Errorf("asked again: another answer (err %v)", err)
	}
	if other, err := r.of(m, crop(nil), 41, 28); err != nil || other == first {
		t.Errorf("of another day: the same answer (err %v)", err)
	}
	if _, err := r.of(m, forecast.Crop{}, 40, 28); err == nil {
		t.Error("a crop without an area was forecast")
	}
}
