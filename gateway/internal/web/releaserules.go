package web

import (
	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// releaseRulesPage is what lots of a phase must prove before they leave the yard, with all that
// could be asked of them.
type releaseRulesPage struct {
	Form    *form
	Done    bool
	MaySave bool
	Phase   string
	Phases  []stageChoice
	Etag    string
	Changed string // by whom and when; empty for the rules that every co-op begins with

	Criteria []releaseRule
}

// releaseRule is one criterion with its fields.
type releaseRule struct {
	ID, UseName string
	Asked, Own  bool
	Kinds       []string // keys of what is measured
	Subject     string
	Limits, Now string // its limits in force, and all its figures
	Published   string // the catalogue's
	Source      string // of the catalogue's
	Note        string
	Error       string // of the criterion as a whole
	Fields      []input
	SourceField input
}

// rulePhases are the phases whose rules are kept apart; phases two and three share theirs.
var rulePhases = map[string]typev1.CompostPhase{"one": typev1.CompostPhase_COMPOST_PHASE_ONE, "two": typev1.CompostPhase_COMPOST_PHASE_TWO}

// rulesForm is the name of the form on the page.
const rulesForm = "rules"

// rulePhase is the phase asked for, phase two where none is.
func (v *visit) rulePhase() string {
	if v.r.FormValue("phase") == "one" {
		return "one"
	}
	return "two"
}

// releaseRules reads the rules in force of the phase asked for, and the catalogue.
func (p *Pages) releaseRules(v *visit) (*compostlotv1.GetReleaseRulesResponse, error) {
	return p.compostlot.GetReleaseRules(v.ctx, &compostlotv1.GetReleaseRulesRequest{Phase: rulePhases[v.rulePhase()]})
}

// showReleaseRules shows the rules of a phase with the form that changes them.
func (p *Pages) showReleaseRules(v *visit, f *form) (view, error) {
	res, err := p.releaseRules(v)
	if err != nil {
		return view{}, err
	}
	rules := res.GetRules()
	page := releaseRulesPage{
		Form: f, Done: v.r.URL.Query().Get("done") != "", MaySave: v.who.Role == identity.Coordinator, Phase: v.rulePhase(), Etag: f.Value("etag", rules.GetEtag()),
	}
	if f.Stale {
		page.Etag = rules.GetEtag()
	}
	if rules.GetEtag() != "" {
		page.Changed = v.words.T("rules.changed", rules.GetChangedBy(), v.words.Instant(rules.GetChangedAt().AsTime(), v.zone))
	}
	page.Phases = choices([]string{"one", "two"}, "rules.", page.Phase)
	asked := byID(rules.GetCriteria(), (*compostlotv1.ReleaseCriterion).GetCriterionId, func(c *compostlotv1.ReleaseCriterion) *compostlotv1.ReleaseCriterion { return c })
	for _, c := range res.GetCatalogue() {
		page.Criteria = append(page.Criteria, releaseRuleOf(v, f, c, asked[c.GetCriterionId()]))
	}
	return view{template: "releaserules", title: "rules.title", data: page}, nil
}

// releaseRuleOf shows a criterion of the catalogue; now is how it is in force, nil where it is not.
func releaseRuleOf(v *visit, f *form, c, now *compostlotv1.ReleaseCriterion) releaseRule {
	id := c.GetCriterionId()
	r := releaseRule{ID: id, UseName: "use." + id, Asked: now != nil, Own: now.GetOwn(), Subject: c.GetSubject(), Published: v.ruleFigures(c), Source: c.GetSource(), Note: c.GetNote(), Error: f.Error("use." + id)}
	for _, kind := range c.GetKinds() {
		r.Kinds = append(r.Kinds, readingKey(kind))
	}
	if f.Sent() {
		r.Asked = f.values.Has(r.UseName)
	}
	if now == nil {
		now = c
	}
	r.Limits, r.Now = v.ruleLimits(now), v.ruleFigures(now)
	field := func(kind, name, label, value, unit string) input {
		return newInput(f, rulesForm, kind, name+"."+id, v.words.T(label), value, unit)
	}
	unit := v.unitOf(ruleKind(c))
	r.Fields = []input{
		field("kg", "low", "rules.low", v.ruleLimit(c, now.LowThousandths), unit), field("kg", "high", "rules.high", v.ruleLimit(c, now.HighThousandths), unit),
	}
	if c.Seconds != nil {
		r.Fields = append(r.Fields, field("kg", "hours", "rules.hours", v.hours(now.GetSeconds()), "h"))
	}
	r.Fields = append(r.Fields, field("whole", "probes", "rules.probes", plain(int64(now.GetMinProbes())), ""))
	source := ""
	if now.GetOwn() {
		source = now.GetSource()
	}
	r.SourceField = field("text", "source", "rules.source", source, "")
	return r
}

// ruleKind is what a criterion measures: of several kinds the first, since all have one unit.
func ruleKind(c *compostlotv1.ReleaseCriterion) compostlotv1.ReadingKind {
	if len(c.GetKinds()) == 0 {
		return compostlotv1.ReadingKind_READING_KIND_UNSPECIFIED
	}
	return c.GetKinds()[0]
}

// ruleLimits are a criterion's limits in words and units.
func (v *visit) ruleLimits(c *compostlotv1.ReleaseCriterion) string {
	low, high := v.withUnit(c, c.LowThousandths), v.withUnit(c, c.HighThousandths)
	switch {
	case high == "":
		return v.words.T("rules.at_least", low)
	case low == "":
		return v.words.T("rules.at_most", high)
	}
	return v.words.T("rules.from_to", low, high)
}

// ruleFigures are a criterion's limits with the time within them.
func (v *visit) ruleFigures(c *compostlotv1.ReleaseCriterion) string {
	held := v.words.T("rules.last")
	switch {
	case c.Seconds != nil && c.GetUnbroken():
		held = v.words.T("rules.unbroken", v.hours(c.GetSeconds()))
	case c.Seconds != nil:
		held = v.words.T("rules.in_all", v.hours(c.GetSeconds()))
	}
	return v.ruleLimits(c) + ", " + held
}

// withUnit writes a limit to read; nothing where there is none.
func (v *visit) withUnit(c *compostlotv1.ReleaseCriterion, limit *int64) string {
	switch kind := ruleKind(c); {
	case limit == nil:
		return ""
	case temperature(kind):
		return v.words.Degrees(*limit)
	default:
		return v.words.Exact(*limit) + " " + v.unitOf(kind)
	}
}

// ruleLimit writes a limit for its field, in the unit shown.
func (v *visit) ruleLimit(c *compostlotv1.ReleaseCriterion, limit *int64) string {
	switch {
	case limit == nil:
		return ""
	case temperature(ruleKind(c)):
		return v.words.Exact(v.words.Temperature(*limit))
	default:
		return v.words.Exact(*limit)
	}
}

// hours writes seconds as hours with at most three decimals.
func (v *visit) hours(seconds int64) string { return v.words.Exact((seconds*1000 + 1800) / 3600) }

// saveReleaseRules changes what lots of a phase must prove; refused, the page shows what was typed.
func (p *Pages) saveReleaseRules(v *visit) (view, error) {
	paths := rowPaths{}
	rules, err := p.typedRules(v, paths)
	if err == nil {
		_, err = p.compostlot.SaveReleaseRules(v.ctx, &compostlotv1.SaveReleaseRulesRequest{RequestId: v.r.PostFormValue("request_id"), Rules: rules})
	}
	if err != nil {
		return again(v, err, p.showReleaseRules, paths.name)
	}
	return view{goTo: "/releaserules?done=saved&phase=" + v.rulePhase()}, nil
}

// typedRules reads the criteria that are ticked, in the catalogue's order.
func (p *Pages) typedRules(v *visit, paths rowPaths) (*compostlotv1.ReleaseRules, error) {
	res, err := p.releaseRules(v)
	if err != nil {
		return nil, err
	}
	rules := &compostlotv1.ReleaseRules{Phase: rulePhases[v.rulePhase()], Etag: v.r.PostFormValue("etag")}
	inForce := byID(res.GetRules().GetCriteria(), (*compostlotv1.ReleaseCriterion).GetCriterionId, func(c *compostlotv1.ReleaseCriterion) *compostlotv1.ReleaseCriterion { return c })
	for _, c := range res.GetCatalogue() {
		id := c.GetCriterionId()
		if v.r.PostFormValue("use."+id) == "" {
			continue
		}
		at := "rules.criteria[" + plain(int64(len(rules.GetCriteria()))) + "]"
		paths[at] = "use." + id
		for path, name := range map[string]string{"low_thousandths": "low", "high_thousandths": "high", "seconds": "hours", "min_probes": "probes", "source": "source", "criterion_id": "use"} {
			paths[at+"."+path] = name + "." + id
		}
		now := inForce[id]
		if now == nil {
			now = c
		}
		typed, err := v.typedRule(c, now)
		if err != nil {
			return nil, err
		}
		rules.Criteria = append(rules.Criteria, typed)
	}
	if len(rules.GetCriteria()) == 0 {
		return nil, fault.New(fault.Invalid, "NO_CRITERION", "%s", v.words.T("rules.none"))
	}
	return rules, nil
}

// typedRule reads one criterion; what is blank is the catalogue's. now is how the form showed it:
// a time that was not touched stays to the second.
func (v *visit) typedRule(c, now *compostlotv1.ReleaseCriterion) (out *compostlotv1.ReleaseCriterion, err error) {
	id := c.GetCriterionId()
	out = &compostlotv1.ReleaseCriterion{CriterionId: id, Source: v.text("source." + id)}
	if out.LowThousandths, err = v.typedLimit("low."+id, c); err != nil {
		return nil, err
	}
	if out.HighThousandths, err = v.typedLimit("high."+id, c); err != nil {
		return nil, err
	}
	probes, err := v.upTo("probes."+id, 100)
	if err != nil {
		return nil, err
	}
	out.MinProbes = int32(probes)
	switch typed := v.text("hours." + id); {
	case typed == "":
	case now.Seconds != nil && typed == v.hours(now.GetSeconds()):
		out.Seconds = now.Seconds
	default:
		hours, err := v.thousandths("hours." + id)
		if err != nil {
			return nil, err
		}
		seconds := (hours*36 + 5) / 10
		out.Seconds = &seconds
	}
	return out, nil
}

// typedLimit reads a limit in the unit shown; nil where nothing is typed.
func (v *visit) typedLimit(name string, c *compostlotv1.ReleaseCriterion) (*int64, error) {
	typed := v.text(name)
	if typed == "" {
		return nil, nil
	}
	if !temperature(ruleKind(c)) {
		n, err := v.thousandths(name)
		return &n, err
	}
	n, ok := signedThousandths(typed)
	if !ok {
		return nil, fault.InvalidField(name, "%s", v.words.T("problem.degrees", typed))
	}
	n = v.words.Celsius(n)
	return &n, nil
}
