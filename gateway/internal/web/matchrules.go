package web

import (
	"strings"

	"breakshare.example/gateway/internal/words"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
)

// The names that forms give the rules of sharing, in the order in which they are offered.
var (
	shortRules = []string{"by_weight", "by_ordered", "in_turn"}
	leftRules  = []string{"by_offer", "by_shares", "by_carry"}
)

// match makes the form of the rules of matches.
func (page *settingsPage) match(v *visit, f *form, m *orderv1.MatchSettings, n names) {
	page.Match, page.MatchEtag = f, m.GetEtag()
	field := func(kind, name, label, value, unit string) input {
		return newInput(f, "match", kind, name, v.words.T(label), value, unit)
	}
	page.ShortRules = choices(shortRules, "short_rule.", f.Value("short_rule", ruleOf(m.GetShortRule().String(), "SHORT_RULE_", shortRules)))
	page.LeftRules = choices(leftRules, "left_rule.", f.Value("left_rule", ruleOf(m.GetLeftRule().String(), "LEFT_RULE_", leftRules)))
	page.Tilt = field("whole", "season_tilt_percent", "settings.tilt", plain(int64(m.GetSeasonTiltPercent())), "%")
	page.Season = field("date", "season_start", "settings.season", m.GetSeasonStart(), "")
	page.Together = field("kg", "correlation_thousandths", "settings.together", v.words.Exact(int64(m.GetCorrelationThousandths())*100), "%")
	page.Grades = field("text", "grades", "settings.grades", strings.Join(m.GetGrades(), ", "), "")

	costs := byID(m.GetPromiseCosts(), (*orderv1.PromiseCost).GetProductId, func(c *orderv1.PromiseCost) *orderv1.PromiseCost { return c })
	perMass := v.coop.GetCurrencyCode() + "/" + v.words.MassUnit()
	for _, id := range append([]string{""}, sortedKeys(n.products)...) {
		r, of := costRow{}, v.words.T("settings.other_products")
		if id != "" {
			of = n.product(id)
		}
		amount := func(name, label string, minor int64) input {
			value := ""
			if costs[id] != nil {
				value = v.words.Exact(v.words.PerMass(minor) * 10)
			}
			return newInput(f, "match", "kg", name+"."+id, v.words.T(label, of), value, perMass)
		}
		r.Broken, r.Unsold = amount("broken", "settings.broken", costs[id].GetBrokenMinorPerKg()), amount("unsold", "settings.unsold", costs[id].GetUnsoldMinorPerKg())
		page.Costs = append(page.Costs, r)
	}
	for i := range rowsOf(f, "zone_farm", len(m.GetZoneCosts())) {
		var farm, zone, cost string
		if i < len(m.GetZoneCosts()) {
			z := m.GetZoneCosts()[i]
			farm, zone, cost = z.GetFarmId(), z.GetZoneId(), v.words.Exact(v.words.PerMass(z.GetMinorPerKg())*10)
		}
		page.Zones = append(page.Zones, []input{
			field("text", row("zone_farm", i), "word.farm", farm, "").from("farm-ids"), field("text", row("zone_id", i), "settings.zone", zone, "").from("zone-ids"),
			field("kg", row("zone_cost", i), "settings.carry", cost, perMass),
		})
	}
	for i := range rowsOf(f, "held_farm", len(m.GetHeldFarms())) {
		var farm, reason string
		if i < len(m.GetHeldFarms()) {
			farm, reason = m.GetHeldFarms()[i].GetFarmId(), m.GetHeldFarms()[i].GetReason()
		}
		page.Held = append(page.Held, []input{
			field("text", row("held_farm", i), "word.farm", farm, "").from("farm-ids"), field("text", row("held_reason", i), "line.reason", reason, ""),
		})
	}
}

func choices(names []string, prefix, chosen string) []stageChoice {
	var all []stageChoice
	for _, name := range names {
		all = append(all, stageChoice{name, prefix + name, name == chosen})
	}
	return all
}

// ruleOf is the form's name of a rule; the first for one that is not stated.
func ruleOf(name, prefix string, rules []string) string {
	name = strings.ToLower(strings.TrimPrefix(name, prefix))
	if name == "unspecified" {
		return rules[0]
	}
	return name
}

// saveMatchRules changes the rules of matches; runs from then on follow them.
func (p *Pages) saveMatchRules(v *visit) (view, error) {
	m, paths, err := v.matchRules()
	if err == nil {
		_, err = p.order.SaveMatchSettings(v.ctx, &orderv1.SaveMatchSettingsRequest{RequestId: v.r.PostFormValue("request_id"), Settings: m})
	}
	if err != nil {
		return again(v, err, p.showSettings, paths.name)
	}
	return view{goTo: "/settings?done=match#match"}, nil
}

// matchRules reads the form.
func (v *visit) matchRules() (*orderv1.MatchSettings, rowPaths, error) {
	paths := rowPaths{}
	m := &orderv1.MatchSettings{
		ShortRule: orderv1.ShortRule(orderv1.ShortRule_value["SHORT_RULE_"+strings.ToUpper(v.text("short_rule"))]),
		LeftRule:  orderv1.LeftRule(orderv1.LeftRule_value["LEFT_RULE_"+strings.ToUpper(v.text("left_rule"))]),
		Etag:      v.r.PostFormValue("etag"), SeasonStart: v.text("season_start"),
	}
	tilt, err := v.upTo("season_tilt_percent", 100)
	if err != nil {
		return nil, paths, err
	}
	m.SeasonTiltPercent = int32(tilt)
	together, err := v.thousandths("correlation_thousandths")
	if err != nil {
		return nil, paths, err
	}
	if together%100 != 0 || together > 100_000 {
		return nil, paths, fault.InvalidField("correlation_thousandths", "%s", v.words.T("settings.percent_tenths"))
	}
	m.CorrelationThousandths = int32(together / 100)
	for _, grade := range strings.Split(v.text("grades"), ",") {
		if grade = strings.TrimSpace(grade); grade != "" {
			m.Grades = append(m.Grades, grade)
		}
	}
	if err := v.promiseCosts(m, paths); err != nil {
		return nil, paths, err
	}
	for _, i := range v.rows("zone_farm", "zone_id", "zone_cost") {
		minor, err := v.minor(row("zone_cost", i))
		if err != nil {
			return nil, paths, err
		}
		paths.add("settings.zone_costs", len(m.GetZoneCosts()), i, "farm_id", "zone_farm", "zone_id", "zone_id", "minor_per_kg", "zone_cost")
		m.ZoneCosts = append(m.ZoneCosts, &orderv1.ZoneCost{FarmId: v.text(row("zone_farm", i)), ZoneId: v.text(row("zone_id", i)), MinorPerKg: v.words.ForMass(minor)})
	}
	for _, i := range v.rows("held_farm", "held_reason") {
		paths.add("settings.held_farms", len(m.GetHeldFarms()), i, "farm_id", "held_farm", "reason", "held_reason")
		m.HeldFarms = append(m.HeldFarms, &orderv1.FarmHold{FarmId: v.text(row("held_farm", i)), Reason: v.text(row("held_reason", i))})
	}
	return m, paths, nil
}

// promiseCosts reads the costs of each product of which any was filled in.
func (v *visit) promiseCosts(m *orderv1.MatchSettings, paths rowPaths) error {
	for _, field := range sortedKeys(v.r.PostForm) {
		id, ok := strings.CutPrefix(field, "broken.")
		if !ok || v.text(field) == "" && v.text("unsold."+id) == "" {
			continue
		}
		broken, err := v.minor(field)
		if err != nil {
			return err
		}
		unsold, err := v.minor("unsold." + id)
		if err != nil {
			return err
		}
		at := "settings.promise_costs[" + plain(int64(len(m.GetPromiseCosts()))) + "]."
		paths[at+"broken_minor_per_kg"], paths[at+"unsold_minor_per_kg"], paths[at+"product_id"] = field, "unsold."+id, field
		m.PromiseCosts = append(m.PromiseCosts, &orderv1.PromiseCost{ProductId: id, BrokenMinorPerKg: v.words.ForMass(broken), UnsoldMinorPerKg: v.words.ForMass(unsold)})
	}
	return nil
}

// thousandths reads a figure with at most three decimals of a field; blank is 0.
func (v *visit) thousandths(name string) (int64, error) {
	typed := v.text(name)
	if typed == "" {
		return 0, nil
	}
	read, ok := words.Thousandths(typed)
	if !ok {
		return 0, fault.InvalidField(name, "%s", v.words.T("problem.figure", typed))
	}
	return read, nil
}
