package web

import (
	"strings"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// programmesPage is every crop programme, and one of them whole with the form that copies it.
type programmesPage struct {
	Form      *form
	Back      navItem
	All       []programmeRow
	One       *schedulingv1.Programme // nil until one is chosen
	Version   int64
	System    string // key
	Done      bool
	MayChange bool

	Stages, Inputs, Breaks, Sources *table
	Climate                         *table // nil where no step has limits
	Cautions                        []cautionRow

	AsVersion                bool
	ID, Name, Strain, Source input
	Groups                   []fieldGroup
}

// programmeRow is a programme on the list.
type programmeRow struct {
	ID, Name, Species, System string
	Version, Days             int64 // Days from filling to the first pick, usually
	BuiltIn, Chosen           bool
}

// cautionRow is the warning for one step.
type cautionRow struct{ Key, Text string }

// fieldGroup are fields of the form under one heading.
type fieldGroup struct {
	Title  string
	Fields []input
}

// backFrom is the place from which a visitor comes to pages of planning.
func backFrom(v *visit) navItem {
	if v.who.Role == identity.Grower {
		return navItem{Path: "/rooms", Key: "rooms.title"}
	}
	return navItem{Path: "/quarter", Key: "quarter.title"}
}

// showProgrammes lists all programmes and shows the one that the request names.
func (p *Pages) showProgrammes(v *visit, f *form) (view, error) {
	res, err := p.scheduling.ListProgrammes(v.ctx, &schedulingv1.ListProgrammesRequest{})
	if err != nil {
		return view{}, err
	}
	page := programmesPage{Form: f, Back: backFrom(v), Done: v.r.URL.Query().Get("done") != "", MayChange: v.who.Role == identity.Coordinator || v.who.Role == identity.Operator}
	asked := v.r.FormValue("programme")
	for _, one := range res.GetProgrammes() {
		row := programmeRow{
			ID: one.GetProgrammeId(), Name: one.GetName(), Species: one.GetSpecies(), System: systemKey(one.GetGrowingSystem()),
			Version: int64(one.GetVersion()), Days: usualDaysToPick(one), BuiltIn: one.GetBuiltIn(), Chosen: one.GetProgrammeId() == asked,
		}
		page.All = append(page.All, row)
		if row.Chosen {
			page.One, page.Version, page.System = one, row.Version, row.System
			page.tables(v)
			page.fields(v)
		}
	}
	if asked != "" && page.One == nil {
		return view{}, noProgramme(v, asked)
	}
	return view{template: "programmes", title: "programmes.title", data: page}, nil
}

func noProgramme(v *visit, id string) error {
	return fault.New(fault.NotFound, "NO_PROGRAMME", "%s", v.words.T("programmes.gone", id))
}

// usualDaysToPick are the usual days from filling to the start of cropping.
func usualDaysToPick(p *schedulingv1.Programme) int64 {
	days, filled := int64(0), false
	for _, s := range p.GetStages() {
		filled = filled || s.GetKind() == schedulingv1.StageKind_STAGE_KIND_FILLING
		if s.GetKind() == schedulingv1.StageKind_STAGE_KIND_CROPPING {
			break
		}
		if filled {
			days += s.GetDays().GetUsual()
		}
	}
	return days
}

// tables tells the chosen programme in words.
func (page *programmesPage) tables(v *visit) {
	one := page.One
	least, usual, most := column{Key: "programmes.least", Name: "least", Figures: true}, column{Key: "programmes.usual", Name: "usual", Figures: true}, column{Key: "programmes.most", Name: "most", Figures: true}
	source := column{Key: "programmes.source", Name: "source"}
	page.Stages = &table{ID: "stages", Caption: v.words.T("programmes.stages"), Columns: []column{{Key: "plan.step", Name: "stage"}, least, usual, most, {Key: "programmes.work", Name: "work_minutes_per_m2", Figures: true, Unit: v.words.T("programmes.minutes")}, source}}
	climate := &table{ID: "climate", Caption: v.words.T("programmes.climate"), Columns: []column{
		{Key: "plan.step", Name: "stage"}, {Key: "programmes.air", Name: "air", Unit: v.words.DegreeUnit()}, {Key: "programmes.substrate", Name: "compost", Unit: v.words.DegreeUnit()},
		{Key: "programmes.humidity", Name: "humidity", Unit: "%"}, {Key: "programmes.co2", Name: "co2", Unit: "ppm"},
	}}
	for _, s := range one.GetStages() {
		step := v.says(kindKey(s.GetKind()))
		d := s.GetDays()
		page.Stages.Rows = append(page.Stages.Rows, []cell{step, v.count(d.GetLeast()), v.count(d.GetUsual()), v.count(d.GetMost()), v.count(s.GetWorkMinutesPerM2().GetValue()), code(d.GetSource())})
		if c := s.GetClimate(); c != nil {
			degrees := func(tenths int64) string { return v.words.Tenths(v.words.Temperature(tenths * 100)) }
			climate.Rows = append(climate.Rows, []cell{step, band(c.GetAirTenthsC(), degrees), band(c.GetCompostTenthsC(), degrees), band(c.GetHumidityPercent(), v.words.Count), band(c.GetCo2Ppm(), v.words.Count)})
		}
		if s.GetCaution() != "" {
			page.Cautions = append(page.Cautions, cautionRow{kindKey(s.GetKind()), s.GetCaution()})
		}
	}
	v.table(page.Stages)
	if len(climate.Rows) > 0 {
		page.Climate = v.table(climate)
	}
	page.Inputs = &table{ID: "inputs", Caption: v.words.T("programmes.inputs"), Columns: []column{{Key: "programmes.input", Name: "input"}, {Key: "programmes.per_m2", Name: "grams_per_m2", Figures: true}, {Key: "programmes.definition", Name: "definition"}, source}}
	for _, in := range inputsOf(one) {
		page.Inputs.Rows = append(page.Inputs.Rows, []cell{v.says("programmes." + in.name), figure(in.GetGramsPerM2(), v.words.Field(in.GetGramsPerM2())), english(in.GetDefinition()), code(in.GetSource())})
	}
	v.table(page.Inputs)
	b := one.GetBreaks()
	page.Breaks = &table{ID: "breaks", Caption: v.words.T("programmes.breaks"), Columns: []column{{Key: "programmes.figure", Name: "figure"}, least, usual, most, {Key: "programmes.unit", Name: "unit"}, source}}
	days := v.says("programmes.days")
	for _, r := range []struct {
		title cell
		*schedulingv1.Range
	}{{v.says("programmes.first_pick", v.words.T(kindKey(b.GetAfter()))), b.GetFirstPickDays()}, {v.says("programmes.interval"), b.GetIntervalDays()}, {v.says("programmes.width"), b.GetWidthDays()}} {
		page.Breaks.Rows = append(page.Breaks.Rows, []cell{r.title, v.count(r.GetLeast()), v.count(r.GetUsual()), v.count(r.GetMost()), days, code(r.GetSource())})
	}
	y := b.GetYieldGramsPerM2()
	page.Breaks.Rows = append(page.Breaks.Rows, []cell{v.says("programmes.yield"), v.weight(y.GetLeast()), v.weight(y.GetUsual()), v.weight(y.GetMost()), v.says("programmes.per_m2"), code(y.GetSource())})
	v.table(page.Breaks)
	page.Sources = &table{ID: "sources", Caption: v.words.T("programmes.sources"), Columns: []column{{Key: "programmes.key", Name: "source"}, {Key: "programmes.text", Name: "text"}, {Key: "programmes.status", Name: "status"}}}
	for _, key := range sortedKeys(one.GetSources()) {
		s := one.GetSources()[key]
		page.Sources.Rows = append(page.Sources.Rows, []cell{code(key), english(s.GetText()), v.says("programmes.status_" + strings.ToLower(strings.TrimPrefix(s.GetStatus().String(), "SOURCE_STATUS_")))})
	}
	v.table(page.Sources)
}

// band writes limits: "14–21", "≤ 700" or "≥ 85".
func band(b *schedulingv1.Band, show func(int64) string) cell {
	switch {
	case b == nil:
		return none()
	case b.Least == nil:
		return name("≤ " + show(b.GetMost()))
	case b.Most == nil:
		return name("≥ " + show(b.GetLeast()))
	}
	return name(show(b.GetLeast()) + "–" + show(b.GetMost()))
}

// namedInput is one input with its name in the message.
type namedInput struct {
	name string
	*schedulingv1.ProgrammeInput
}

// inputsOf are the inputs that a programme uses.
func inputsOf(p *schedulingv1.Programme) []namedInput {
	var used []namedInput
	for _, in := range []namedInput{{"compost", p.GetInputs().GetCompost()}, {"spawn", p.GetInputs().GetSpawn()}, {"casing", p.GetInputs().GetCasing()}, {"supplement", p.GetInputs().GetSupplement()}} {
		if in.ProgrammeInput != nil {
			used = append(used, in)
		}
	}
	return used
}
