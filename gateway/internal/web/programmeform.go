package web

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

const (
	asCopy, asVersion = "copy", "version"
	sharesPath        = "breaks.shares.per_mille"
)

// programmeFigure is one figure of a programme that the form changes.
type programmeFigure struct {
	path   string // in the message
	label  string // as shown
	unit   string
	mass   bool // grams, in the co-op's unit of mass
	value  *int64
	source *string // key of the source that the figure names
}

// name is the figure's field in the form.
func (f programmeFigure) name() string { return fieldOfPath(f.path) }

func (f programmeFigure) show(v *visit) string {
	if f.mass {
		return v.words.Field(*f.value)
	}
	return plain(*f.value)
}

func fieldOfPath(path string) string {
	return strings.NewReplacer("[", "_", "]", "", ".", "_").Replace(path)
}

// figureGroup are the figures under one heading.
type figureGroup struct {
	title   string
	figures []programmeFigure
}

// programmeFigures are the figures of a programme, in the order of the form; they point into it.
func programmeFigures(v *visit, p *schedulingv1.Programme) []figureGroup {
	days, perArea := v.words.T("programmes.days"), v.words.T("programmes.per_m2")
	ranged := func(path string, r *schedulingv1.Range, unit string, mass bool) []programmeFigure {
		return []programmeFigure{
			{path + ".least", v.words.T("programmes.least"), unit, mass, &r.Least, &r.Source},
			{path + ".usual", v.words.T("programmes.usual"), unit, mass, &r.Usual, &r.Source},
			{path + ".most", v.words.T("programmes.most"), unit, mass, &r.Most, &r.Source},
		}
	}
	var groups []figureGroup
	for i, s := range p.GetStages() {
		path := fmt.Sprintf("stages[%d]", i)
		work := s.GetWorkMinutesPerM2()
		groups = append(groups, figureGroup{v.words.T(kindKey(s.GetKind())), append(ranged(path+".days", s.GetDays(), days, false),
			programmeFigure{path + ".work_minutes_per_m2.value", v.words.T("programmes.work"), v.words.T("programmes.minutes"), false, &work.Value, &work.Source})})
	}
	inputs := figureGroup{title: v.words.T("programmes.inputs")}
	for _, in := range inputsOf(p) {
		inputs.figures = append(inputs.figures, programmeFigure{"inputs." + in.name + ".grams_per_m2", v.words.T("programmes." + in.name), perArea, true, &in.GramsPerM2, &in.Source})
	}
	b := p.GetBreaks()
	groups = append(groups, inputs,
		figureGroup{v.words.T("programmes.first_pick", v.words.T(kindKey(b.GetAfter()))), ranged("breaks.first_pick_days", b.GetFirstPickDays(), days, false)},
		figureGroup{v.words.T("programmes.interval"), ranged("breaks.interval_days", b.GetIntervalDays(), days, false)},
		figureGroup{v.words.T("programmes.width"), ranged("breaks.width_days", b.GetWidthDays(), days, false)},
		figureGroup{v.words.T("programmes.yield"), ranged("breaks.yield_grams_per_m2", b.GetYieldGramsPerM2(), perArea, true)})
	shares := figureGroup{title: v.words.T("programmes.shares")}
	for i, one := range p.GetBears() {
		shares.figures = append(shares.figures, programmeFigure{fmt.Sprintf("bears[%d].per_mille", i), v.words.T("programmes.bears", v.words.T(pickStageKey(one.GetPickStage()))), "‰", false, &one.PerMille, &one.Source})
	}
	return append(groups, shares)
}

// fields makes the form that copies and changes the chosen programme.
func (page *programmesPage) fields(v *visit) {
	f, one := page.Form, page.One
	field := func(kind, name, label, value, unit string) input {
		return newInput(f, "programme", kind, name, label, value, unit)
	}
	for _, g := range programmeFigures(v, one) {
		group := fieldGroup{Title: g.title}
		for _, figure := range g.figures {
			kind := "whole"
			if figure.mass {
				kind = "kg"
			}
			group.Fields = append(group.Fields, field(kind, figure.name(), figure.label, figure.show(v), figure.unit))
		}
		page.Groups = append(page.Groups, group)
	}
	last := &page.Groups[len(page.Groups)-1]
	last.Fields = append(last.Fields, field("text", "shares", v.words.T("programmes.each_break"), partsText(one.GetBreaks().GetShares().GetPerMille()), "‰"))
	page.AsVersion = f.Value("as", asCopy) == asVersion
	page.ID = field("text", "programme_id", v.words.T("programmes.id"), "", "")
	page.Name = field("text", "name", v.words.T("programmes.name"), one.GetName(), "")
	page.Strain = field("text", "strain", v.words.T("programmes.strain"), one.GetStrain(), "")
	page.Source = field("text", "source", v.words.T("programmes.own_source"), "", "")
}

// partsText writes parts as their field has them: "400 330 180 90".
func partsText(parts []int64) string {
	var all []string
	for _, n := range parts {
		all = append(all, plain(n))
	}
	return strings.Join(all, " ")
}

// saveProgramme keeps what was typed as a new programme, or as the next version of the one shown.
func (p *Pages) saveProgramme(v *visit) (view, error) {
	saved, err := p.askProgramme(v)
	if err != nil {
		return again(v, err, p.showProgrammes, programmeField(v.r.PostForm))
	}
	return view{goTo: "/programmes?done=yes&programme=" + url.QueryEscape(saved.GetProgrammeId()) + "#one"}, nil
}

func (p *Pages) askProgramme(v *visit) (*schedulingv1.Programme, error) {
	res, err := p.scheduling.ListProgrammes(v.ctx, &schedulingv1.ListProgrammesRequest{})
	if err != nil {
		return nil, err
	}
	known := byID(res.GetProgrammes(), (*schedulingv1.Programme).GetProgrammeId, func(one *schedulingv1.Programme) *schedulingv1.Programme { return one })
	base := known[v.r.PostFormValue("programme")]
	if base == nil {
		return nil, noProgramme(v, v.r.PostFormValue("programme"))
	}
	if base.GetEtag() != v.r.PostFormValue("etag") {
		return nil, fault.New(fault.Stale, "STALE_ETAG", "%s", v.words.T("programmes.stale", plain(int64(base.GetVersion()))))
	}
	next, wrong := v.typedProgramme(base)
	if v.r.PostFormValue("as") != asVersion {
		id := strings.TrimSpace(v.r.PostFormValue("programme_id"))
		switch {
		case id == "":
			wrong = joined(wrong, fault.InvalidField("programme_id", "%s", v.words.T("programmes.no_id")))
		case known[id] != nil:
			wrong = joined(wrong, fault.InvalidField("programme_id", "%s", v.words.T("programmes.taken", id)))
		}
		next.ProgrammeId, next.Etag = id, ""
	}
	if wrong != nil {
		return nil, wrong
	}
	return p.scheduling.SaveProgramme(v.ctx, &schedulingv1.SaveProgrammeRequest{RequestId: v.r.PostFormValue("request_id"), Programme: next})
}

// typedProgramme is a programme with what was typed. A figure that was changed no longer stands
// in the source it had: it names the one that the form gives, as the co-op's own.
func (v *visit) typedProgramme(base *schedulingv1.Programme) (*schedulingv1.Programme, *fault.Error) {
	next := proto.CloneOf(base)
	next.BuiltIn, next.Version = false, 0
	next.Name, next.Strain = strings.TrimSpace(v.r.PostFormValue("name")), strings.TrimSpace(v.r.PostFormValue("strain"))
	var (
		wrong   *fault.Error
		changed []*string
	)
	for _, g := range programmeFigures(v, next) {
		for _, f := range g.figures {
			n, err := v.typedFigure(f)
			if err != nil {
				wrong = joined(wrong, fault.From(err))
			} else if n != *f.value {
				*f.value = n
				changed = append(changed, f.source)
			}
		}
	}
	shares := next.GetBreaks().GetShares()
	if typed := v.r.PostFormValue("shares"); typed != partsText(shares.GetPerMille()) {
		parts, err := v.wholeParts(typed)
		wrong = joined(wrong, err)
		shares.PerMille = parts
		changed = append(changed, &shares.Source)
	}
	if len(changed) == 0 {
		return next, wrong
	}
	text := strings.TrimSpace(v.r.PostFormValue("source"))
	if text == "" {
		return next, joined(wrong, fault.InvalidField("source", "%s", v.words.T("programmes.no_source")))
	}
	key := ownSource(next, text)
	for _, at := range changed {
		*at = key
	}
	return next, wrong
}

// typedFigure reads a figure; one that was left as it was shown is not rounded by its unit.
func (v *visit) typedFigure(f programmeFigure) (int64, error) {
	switch typed := strings.TrimSpace(v.r.PostFormValue(f.name())); {
	case typed == f.show(v):
		return *f.value, nil
	case typed == "":
		return 0, fault.InvalidField(f.name(), "%s", v.words.T("programmes.blank"))
	case f.mass:
		return v.grams(f.name())
	}
	return v.whole(f.name())
}

// wholeParts reads whole parts with blanks between.
func (v *visit) wholeParts(typed string) ([]int64, *fault.Error) {
	var all []int64
	for _, word := range strings.Fields(typed) {
		n, err := strconv.ParseInt(word, 10, 64)
		if err != nil {
			return nil, fault.InvalidField("shares", "%s", v.words.T("programmes.not_parts", typed))
		}
		all = append(all, n)
	}
	return all, nil
}

// ownSource adds a source of the co-op's own, unless it is there, and returns its key.
func ownSource(p *schedulingv1.Programme, text string) string {
	source := &schedulingv1.Source{Text: text, Status: schedulingv1.SourceStatus_SOURCE_STATUS_OWN}
	key := "own"
	for n := 2; p.GetSources()[key] != nil && !proto.Equal(p.GetSources()[key], source); n++ {
		key = fmt.Sprintf("own-%d", n)
	}
	p.Sources[key] = source
	return key
}

// joined is one fault with the fields of both; either may be nil.
func joined(a, b *fault.Error) *fault.Error {
	if a == nil || b == nil {
		if a == nil {
			return b
		}
		return a
	}
	for _, f := range b.Fields {
		a = a.WithField(f.Path, "%s", f.Description)
	}
	return a
}

// programmeField finds the form's field of a field of the message. What is wrong with a range as
// a whole is told at its usual figure.
func programmeField(sent url.Values) func(string) string {
	return func(path string) string {
		path = strings.TrimPrefix(path, "programme.")
		if strings.HasPrefix(path, sharesPath) {
			return "shares"
		}
		if path == "bears" {
			path = "bears[0].per_mille"
		}
		name := fieldOfPath(path)
		for _, end := range []string{"", "_usual", "_grams_per_m2", "_value", "_per_mille"} {
			if sent.Has(name + end) {
				return name + end
			}
		}
		return name
	}
}
