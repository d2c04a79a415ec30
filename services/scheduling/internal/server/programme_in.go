package server

import (
	"errors"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/scheduling/internal/programme"
)

// programmeFrom reads the message at a version and lets the rules judge it. The
// rules name fields as the protos do, so their paths lead into the request.
func programmeFrom(in *schedulingv1.Programme, version int32, path string) (*programme.Programme, error) {
	p := &programme.Programme{
		ID: in.GetProgrammeId(), Version: version, Name: in.GetName(), Species: in.GetSpecies(), Latin: in.GetLatin(), Strain: in.GetStrain(),
		System: systems.word[in.GetGrowingSystem()],
		Stages: each(in.GetStages(), stageFrom),
		Breaks: breaksFrom(in.GetBreaks()),
		Bears: each(in.GetBears(), func(b *schedulingv1.Bearing) programme.Bearing {
			return programme.Bearing{Stage: pickStages.word[b.GetPickStage()], PerMille: b.GetPerMille(), Source: b.GetSource()}
		}),
		Sources: map[string]programme.Source{},
	}
	if compost := inputFrom(in.GetInputs().GetCompost()); compost != nil {
		p.Inputs.Compost = *compost
	}
	if spawn := inputFrom(in.GetInputs().GetSpawn()); spawn != nil {
		p.Inputs.Spawn = *spawn
	}
	p.Inputs.Casing = inputFrom(in.GetInputs().GetCasing())
	p.Inputs.Supplement = inputFrom(in.GetInputs().GetSupplement())
	for key, s := range in.GetSources() {
		p.Sources[key] = programme.Source{Text: s.GetText(), Status: statuses.word[s.GetStatus()]}
	}
	if err := p.Validate(); err != nil {
		return nil, programmeFault(err, path)
	}
	return p, nil
}

// programmeFault names each problem at its place in the request.
func programmeFault(err error, path string) error {
	var invalid *programme.InvalidError
	if !errors.As(err, &invalid) {
		return err
	}
	out := fault.New(fault.Invalid, "INVALID_PROGRAMME", "%s", invalid.Error())
	for _, p := range invalid.Problems {
		out = out.WithField(path+"."+p.Path, "%s", p.Detail)
	}
	return out
}

func stageFrom(in *schedulingv1.ProgrammeStage) programme.Stage {
	out := programme.Stage{
		Kind: stageKinds.word[in.GetKind()], Place: places.word[in.GetPlace()], Days: rangeFrom(in.GetDays()),
		WorkMinutes: programme.Value{Value: in.GetWorkMinutesPerM2().GetValue(), Source: in.GetWorkMinutesPerM2().GetSource()},
		Caution:     in.GetCaution(),
	}
	if c := in.GetClimate(); c != nil {
		out.Climate = &programme.Climate{
			Air: bandFrom(c.GetAirTenthsC()), Compost: bandFrom(c.GetCompostTenthsC()),
			Humidity: bandFrom(c.GetHumidityPercent()), CO2: bandFrom(c.GetCo2Ppm()),
		}
	}
	return out
}

func rangeFrom(r *schedulingv1.Range) programme.Range {
	return programme.Range{Least: r.GetLeast(), Usual: r.GetUsual(), Most: r.GetMost(), Source: r.GetSource()}
}

func bandFrom(b *schedulingv1.Band) *programme.Band {
	if b == nil {
		return nil
	}
	return &programme.Band{Least: b.Least, Most: b.Most, Source: b.GetSource()}
}

func inputFrom(i *schedulingv1.ProgrammeInput) *programme.Input {
	if i == nil {
		return nil
	}
	return &programme.Input{Grams: i.GetGramsPerM2(), Definition: i.GetDefinition(), Source: i.GetSource()}
}

func breaksFrom(b *schedulingv1.BreakProfile) programme.Breaks {
	return programme.Breaks{
		After: stageKinds.word[b.GetAfter()], FirstPick: rangeFrom(b.GetFirstPickDays()), Interval: rangeFrom(b.GetIntervalDays()),
		Width:  rangeFrom(b.GetWidthDays()),
		Shares: programme.Shares{PerMille: b.GetShares().GetPerMille(), Source: b.GetShares().GetSource()},
		Yield:  rangeFrom(b.GetYieldGramsPerM2()),
	}
}
