package server

import (
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/scheduling/internal/programme"
)

// programmeMessage is the programme as the API tells it. Nothing is left out:
// programmeFrom reads it back equal.
func programmeMessage(p *programme.Programme, builtIn bool) *schedulingv1.Programme {
	return &schedulingv1.Programme{
		ProgrammeId: p.ID, Version: p.Version, Name: p.Name, Species: p.Species, Latin: p.Latin, Strain: p.Strain,
		GrowingSystem: systems.enum[p.System],
		Stages:        each(p.Stages, stageMessage),
		Inputs: &schedulingv1.ProgrammeInputs{
			Compost: inputMessage(&p.Inputs.Compost), Spawn: inputMessage(&p.Inputs.Spawn),
			Casing: inputMessage(p.Inputs.Casing), Supplement: inputMessage(p.Inputs.Supplement),
		},
		Breaks:       breaksMessage(p.Breaks),
		Bears:        bearsMessage(p.Bears),
		Sources:      sourcesMessage(p.Sources),
		CompostPhase: compostPhase(p.System),
		BuiltIn:      builtIn,
		Etag:         etag(int64(p.Version)),
	}
}

func stageMessage(s programme.Stage) *schedulingv1.ProgrammeStage {
	out := &schedulingv1.ProgrammeStage{
		Kind: stageKinds.enum[s.Kind], Place: places.enum[s.Place], Days: rangeMessage(s.Days),
		WorkMinutesPerM2: &schedulingv1.Value{Value: s.WorkMinutes.Value, Source: s.WorkMinutes.Source}, Caution: s.Caution,
	}
	if c := s.Climate; c != nil {
		out.Climate = &schedulingv1.Climate{
			AirTenthsC: bandMessage(c.Air), CompostTenthsC: bandMessage(c.Compost),
			HumidityPercent: bandMessage(c.Humidity), Co2Ppm: bandMessage(c.CO2),
		}
	}
	return out
}

func rangeMessage(r programme.Range) *schedulingv1.Range {
	return &schedulingv1.Range{Least: r.Least, Usual: r.Usual, Most: r.Most, Source: r.Source}
}

func bandMessage(b *programme.Band) *schedulingv1.Band {
	if b == nil {
		return nil
	}
	return &schedulingv1.Band{Least: b.Least, Most: b.Most, Source: b.Source}
}

func inputMessage(i *programme.Input) *schedulingv1.ProgrammeInput {
	if i == nil {
		return nil
	}
	return &schedulingv1.ProgrammeInput{GramsPerM2: i.Grams, Definition: i.Definition, Source: i.Source}
}

func breaksMessage(b programme.Breaks) *schedulingv1.BreakProfile {
	return &schedulingv1.BreakProfile{
		After: stageKinds.enum[b.After], FirstPickDays: rangeMessage(b.FirstPick), IntervalDays: rangeMessage(b.Interval),
		WidthDays: rangeMessage(b.Width), Shares: &schedulingv1.Shares{PerMille: b.Shares.PerMille, Source: b.Shares.Source},
		YieldGramsPerM2: rangeMessage(b.Yield),
	}
}

func bearsMessage(bears []programme.Bearing) []*schedulingv1.Bearing {
	return each(bears, func(b programme.Bearing) *schedulingv1.Bearing {
		return &schedulingv1.Bearing{PickStage: pickStages.enum[b.Stage], PerMille: b.PerMille, Source: b.Source}
	})
}

func sourcesMessage(sources map[string]programme.Source) map[string]*schedulingv1.Source {
	out := make(map[string]*schedulingv1.Source, len(sources))
	for key, s := range sources {
		out[key] = &schedulingv1.Source{Text: s.Text, Status: statuses.enum[s.Status]}
	}
	return out
}
