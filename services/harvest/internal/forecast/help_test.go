package forecast_test

import (
	"slices"
	"testing"

	"breakshare.example/services/harvest/internal/forecast"
)

func profileOf(t testing.TB, name string) forecast.Profile {
	t.Helper()
	all := forecast.Defaults()
	i := slices.IndexFunc(all, func(p forecast.Profile) bool { return p.Name == name })
	if i < 0 {
		t.Fatalf("no default profile %q", name)
	}
	return all[i]
}

func mustModel(t testing.TB, name string) *forecast.Model {
	t.Helper()
	m, err := forecast.New(profileOf(t, name), forecast.Shipped())
	if err != nil {
		t.Fatalf("New: %v", err)
	}
	return m
}

// cropOf is a shelf crop cased on day 16 after a spawn run that began on day 0.
func cropOf(seed uint64, areaTenth int64) forecast.Crop {
	return forecast.Crop{
		Seed: seed, AreaTenthM2: areaTenth,
		Stages: []forecast.StageDate{{Stage: forecast.Filled, Day: 0}, {Stage: forecast.Cased, Day: 16}},
	}
}

func mustForecast(t testing.TB, m *forecast.Model, c forecast.Crop, from, days int) *forecast.Forecast {
	t.Helper()
	f, err := m.Forecast(c, from, days)
	if err != nil {
		t.Fatalf("Forecast: %v", err)
	}
	return f
}
