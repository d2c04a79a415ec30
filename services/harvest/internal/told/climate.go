package told

import (
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/harvest/internal/climate"
	"breakshare.example/services/harvest/internal/store"
)

// Limits reads the climate limits of a programme. A programme that states none
// has none.
func Limits(p *schedulingv1.Programme) store.Limits {
	l := store.Limits{ProgrammeID: p.GetProgrammeId(), Version: max(1, p.GetVersion()), Steps: store.StepLimits{}}
	for _, s := range p.GetStages() {
		word, ok := stepWords[s.GetKind()]
		if !ok || s.GetClimate() == nil {
			continue
		}
		c := s.GetClimate()
		l.Steps[word] = limitsOf(map[climate.Kind]*schedulingv1.Band{
			climate.Air: c.GetAirTenthsC(), climate.Humidity: c.GetHumidityPercent(), climate.CO2: c.GetCo2Ppm(), climate.Compost: c.GetCompostTenthsC(),
		})
	}
	return l
}

func limitsOf(bands map[climate.Kind]*schedulingv1.Band) map[climate.Kind]climate.Limit {
	out := map[climate.Kind]climate.Limit{}
	for k, b := range bands {
		if b != nil {
			out[k] = climate.Limit{Least: b.Least, Most: b.Most}
		}
	}
	return out
}
