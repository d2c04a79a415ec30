package programme_test

import (
	"errors"
	"strings"
	"testing"

	"breakshare.example/services/scheduling/internal/programme"
)

// Each case spoils a sound programme in one way and names the one problem that
// must be reported.
func TestValidateNamesTheFault(t *testing.T) {
	t.Parallel()
	at := func(p *programme.Programme, kind programme.StageKind) *programme.Stage {
		for i := range p.Stages {
			if p.Stages[i].Kind == kind {
				return &p.Stages[i]
			}
		}
		return nil
	}
	low, high := int64(10), int64(5)
	cases := []struct {
		name, base string
		spoil      func(*programme.Programme)
		path       string
		code       programme.Code
	}{
		{"id with spaces", "oyster-bags", func(p *programme.Programme) { p.ID = "My oyster" }, "programme_id", programme.OutOfRange},
		{"version 0", "oyster-bags", func(p *programme.Programme) { p.Version = 0 }, "version", programme.OutOfRange},
		{"no species", "oyster-bags", func(p *programme.Programme) { p.Species = " " }, "species", programme.Missing},
		{"endless name", "oyster-bags", func(p *programme.Programme) { p.Name = strings.Repeat("x", 10_000) }, "name", programme.OutOfRange},
		{"unknown system", "oyster-bags", func(p *programme.Programme) { p.System = "hammocks" }, "growing_system", programme.Unknown},
		{"unknown status", "oyster-bags", func(p *programme.Programme) {
			p.Sources["labour"] = programme.Source{Text: "someone", Status: "hearsay"}
		}, `sources["labour"].status`, programme.Unknown},
		{"casing on bags", "oyster-bags", func(p *programme.Programme) { at(p, programme.SpawnRun).Kind = programme.Casing }, "stages[3].kind", programme.Unknown},
		{"no spawn run", "oyster-bags", func(p *programme.Programme) { at(p, programme.SpawnRun).Kind = programme.Casing }, "stages", programme.Missing},
		{"stage twice", "white-shelves", func(p *programme.Programme) { at(p, programme.Idle).Kind = programme.CookOut }, "stages[10].kind", programme.Repeated},
		{"cropping before casing", "white-shelves", func(p *programme.Programme) {
			at(p, programme.Casing).Kind, at(p, programme.Cropping).Kind = programme.Cropping, programme.Casing
		}, "stages[6].kind", programme.OutOfOrder},
		{"phase II in the shelf system's tunnel", "white-shelves", func(p *programme.Programme) { at(p, programme.PhaseII).Place = programme.Tunnel }, "stages[2].place", programme.WrongPlace},
		{"bulk cropping in a tunnel", "white-bulk-2", func(p *programme.Programme) { at(p, programme.Cropping).Place = programme.Tunnel }, "stages[8].place", programme.WrongPlace},
		{"least above usual", "white-shelves", func(p *programme.Programme) { at(p, programme.SpawnRun).Days.Least = 18 }, "stages[4].days", programme.OutOfOrder},
		{"usual above most", "white-shelves", func(p *programme.Programme) { at(p, programme.SpawnRun).Days.Usual = 30 }, "stages[4].days", programme.OutOfOrder},
		{"no days at all", "white-shelves", func(p *programme.Programme) { at(p, programme.Cropping).Days.Least = 0 }, "stages[8].days.least", programme.OutOfRange},
		{"negative days", "white-shelves", func(p *programme.Programme) { at(p, programme.Idle).Days.Least = -1 }, "stages[10].days.least", programme.OutOfRange},
		{"a decade of cropping", "white-shelves", func(p *programme.Programme) { at(p, programme.Cropping).Days.Most = 3650 }, "stages[8].days.most", programme.OutOfRange},
		{"no source", "white-shelves", func(p *programme.Programme) { at(p, programme.SpawnRun).Days.Source = "" }, "stages[4].days.source", programme.Missing},
		{"source not held", "white-shelves", func(p *programme.Programme) { p.Inputs.Spawn.Source = "grandmother" }, "inputs.spawn.source", programme.Unknown},
		{"empty band", "white-shelves", func(p *programme.Programme) {
			at(p, programme.Pinning).Climate.CO2 = &programme.Band{Source: "pin-co2"}
		}, "stages[7].climate.co2_ppm", programme.Missing},
		{"band upside down", "white-shelves", func(p *programme.Programme) {
			at(p, programme.Pinning).Climate.Humidity = &programme.Band{Least: &low, Most: &high, Source: "humidity"}
		}, "stages[7].climate.humidity_percent", programme.OutOfOrder},
		{"degrees for tenths", "white-shelves", func(p *programme.Programme) {
			v := int64(6600)
			at(p, programme.CookOut).Climate.Compost.Least = &v
		}, "stages[9].climate.compost_tenths_c.least", programme.OutOfRange},
		{"kilograms for grams", "white-shelves", func(p *programme.Programme) { p.Inputs.Compost.Grams = 0 }, "inputs.compost.grams_per_m2", programme.OutOfRange},
		{"rate not defined", "white-shelves", func(p *programme.Programme) { p.Inputs.Spawn.Definition = "" }, "inputs.spawn.definition", programme.Missing},
		{"cased without casing", "white-shelves", func(p *programme.Programme) { p.Inputs.Casing = nil }, "inputs.casing", programme.Disagrees},
		{"casing for bags", "oyster-bags", func(p *programme.Programme) { c := p.Inputs.Spawn; p.Inputs.Casing = &c }, "inputs.casing", programme.Disagrees},
		{"shares short of the whole", "white-shelves", func(p *programme.Programme) { p.Breaks.Shares.PerMille[0] = 400 }, "breaks.shares.per_mille", programme.BadSum},
		{"negative share", "white-shelves", func(p *programme.Programme) { p.Breaks.Shares.PerMille = []int64{1100, -100} }, "breaks.shares.per_mille[1]", programme.OutOfRange},
		{"no breaks", "white-shelves", func(p *programme.Programme) { p.Breaks.Shares.PerMille = nil }, "breaks.shares.per_mille", programme.OutOfRange},
		{"first pick against the stages", "white-shelves", func(p *programme.Programme) { p.Breaks.FirstPick.Usual = 18 }, "breaks.first_pick_days", programme.Disagrees},
		{"first pick after a later stage", "white-shelves", func(p *programme.Programme) { p.Breaks.After = programme.CookOut }, "breaks.after", programme.Disagrees},
		{"breaks beyond the harvest", "white-shelves", func(p *programme.Programme) {
			p.Breaks.Interval = programme.Range{Least: 7, Usual: 14, Most: 14, Source: "rhythm"}
		}, "breaks.interval_days", programme.Disagrees},
		{"bears nothing", "white-shelves", func(p *programme.Programme) { p.Bears = nil }, "bears", programme.Missing},
		{"bears twice the same", "white-shelves", func(p *programme.Programme) { p.Bears[1].Stage = "closed" }, "bears[1].pick_stage", programme.Repeated},
		{"bears by the word of a shop", "white-shelves", func(p *programme.Programme) { p.Bears[1].Stage = "button" }, "bears[1].pick_stage", programme.Unknown},
		{"bears with and without stage", "white-shelves", func(p *programme.Programme) { p.Bears[1].Stage = programme.NoPickStage }, "bears[1].pick_stage", programme.Missing},
		{"bears more than all", "white-shelves", func(p *programme.Programme) { p.Bears[0].PerMille = 900 }, "bears", programme.BadSum},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p := builtin(t, c.base)
			c.spoil(p)
			err := p.Validate()
			var invalid *programme.InvalidError
			if !errors.As(err, &invalid) {
				t.Fatalf("error %v, want an InvalidError", err)
			}
			for _, problem := range invalid.Problems {
				if problem.Path == c.path && problem.Code == c.code {
					if !strings.Contains(err.Error(), c.path) {
						t.Errorf("message %q does not name %s", err, c.path)
					}
					return
				}
			}
			t.Errorf("problems %+v, want %s at %s", invalid.Problems, c.code, c.path)
		})
	}
}
