package web

import (
	"slices"
	"strconv"
	"strings"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// sharingPage is how the co-op shares slots out, and what hauling costs.
type sharingPage struct {
	Form    *form
	Done    bool
	MaySave bool

	Settings *form
	Etag     string
	Rules    []stageChoice
	Weights  []stageChoice
	Rate     input

	Haul  *form
	Yards []haulYard
}

// haulYard is a yard with what hauling from it to each farm costs.
type haulYard struct {
	Name  string
	Farms []haulFarm
}

// haulFarm is one way. Pair names its fields: "yard/farm".
type haulFarm struct {
	Name, EtagName, Etag string
	Cost, Distance       input
}

// showSharing shows the settings and the costs of haul.
func (p *Pages) showSharing(v *visit, f *form) (view, error) {
	page := sharingPage{Form: f, Done: v.r.URL.Query().Get("done") != "", MaySave: v.who.Role == identity.Coordinator, Settings: f.For("settings"), Haul: f.For("haul")}
	var (
		settings *compostlotv1.ShareSettings
		costs    *compostlotv1.ListHaulCostsResponse
		n        names
	)
	err := together(v.ctx,
		ask(&settings, p.compostlot.GetShareSettings, &compostlotv1.GetShareSettingsRequest{}),
		ask(&costs, p.compostlot.ListHaulCosts, &compostlotv1.ListHaulCostsRequest{}),
		p.naming(&n, farmNames|yardNames),
	)
	if err != nil {
		return view{}, err
	}
	page.settings(v, settings)
	page.haul(v, costs.GetHaulCosts(), n)
	return view{template: "sharing", title: "sharing.title", data: page}, nil
}

func (page *sharingPage) settings(v *visit, s *compostlotv1.ShareSettings) {
	f := page.Settings
	page.Etag = f.Value("etag", s.GetEtag())
	if f.Stale {
		page.Etag = s.GetEtag()
	}
	for _, word := range []string{"satisfied_share", "equal_awards"} {
		now := strings.ToLower(strings.TrimPrefix(s.GetRule().String(), "SHARE_RULE_"))
		page.Rules = append(page.Rules, stageChoice{word, "sharing.rule." + word, f.Value("rule", now) == word})
	}
	for _, word := range []string{"member_shares", "equal"} {
		now := strings.ToLower(strings.TrimPrefix(s.GetWeights().String(), "SHARE_WEIGHTS_"))
		page.Weights = append(page.Weights, stageChoice{word, "sharing.weights." + word, f.Value("weights", now) == word})
	}
	page.Rate = newInput(f, "settings", "kg", "haul_minor_per_tonne_km", v.words.T("sharing.rate"), v.words.Exact(v.words.PerTonne(s.GetHaulMinorPerTonneKm())*10), v.coop.GetCurrencyCode())
}

// haul makes the fields of every yard and farm, by name.
func (page *sharingPage) haul(v *visit, costs []*compostlotv1.HaulCost, n names) {
	known := map[string]*compostlotv1.HaulCost{}
	for _, c := range costs {
		known[c.GetYardId()+"/"+c.GetFarmId()] = c
	}
	for _, yard := range byName(n.yards) {
		row := haulYard{Name: nameOf(n.yards, yard)}
		for _, farm := range byName(n.farms) {
			pair := yard + "/" + farm
			c := known[pair]
			one := haulFarm{Name: nameOf(n.farms, farm), EtagName: "etag." + pair, Etag: page.Haul.Value("etag."+pair, c.GetEtag())}
			if page.Haul.Stale {
				one.Etag = c.GetEtag()
			}
			cost, distance := "", ""
			switch by := c.GetBy().(type) {
			case *compostlotv1.HaulCost_MinorPerTonne:
				cost = v.words.Exact(v.words.PerTonne(by.MinorPerTonne) * 10)
			case *compostlotv1.HaulCost_DistanceKm:
				distance = strconv.Itoa(int(by.DistanceKm))
			}
			one.Cost = newInput(page.Haul, "haul", "kg", "cost."+pair, v.words.T("slots.price"), cost, v.coop.GetCurrencyCode())
			one.Distance = newInput(page.Haul, "haul", "whole", "distance."+pair, v.words.T("sharing.or_distance"), distance, "km")
			row.Farms = append(row.Farms, one)
		}
		page.Yards = append(page.Yards, row)
	}
}

// byName are the ids of names, by name and then id.
func byName(of map[string]string) []string {
	ids := sortedKeys(of)
	slices.SortStableFunc(ids, func(a, b string) int { return strings.Compare(of[a], of[b]) })
	return ids
}

// saveShareSettings keeps how slots are shared out from now on.
func (p *Pages) saveShareSettings(v *visit) (view, error) {
	rate, err := v.minor("haul_minor_per_tonne_km")
	if err != nil {
		return view{}, err
	}
	_, err = p.compostlot.SaveShareSettings(v.ctx, &compostlotv1.SaveShareSettingsRequest{RequestId: v.r.PostFormValue("request_id"), Settings: &compostlotv1.ShareSettings{
		Rule:    compostlotv1.ShareRule(compostlotv1.ShareRule_value["SHARE_RULE_"+strings.ToUpper(v.r.PostFormValue("rule"))]),
		Weights: compostlotv1.ShareWeights(compostlotv1.ShareWeights_value["SHARE_WEIGHTS_"+strings.ToUpper(v.r.PostFormValue("weights"))]),
		Etag:    v.r.PostFormValue("etag"), HaulMinorPerTonneKm: v.words.ForTonne(rate),
	}})
	return view{goTo: "/sharing?done=saved"}, err
}

// saveHaul keeps the costs of haul that are filled in.
func (p *Pages) saveHaul(v *visit) (view, error) {
	req := &compostlotv1.SaveHaulCostsRequest{RequestId: v.r.PostFormValue("request_id")}
	for _, field := range sortedKeys(v.r.PostForm) {
		pair, ok := strings.CutPrefix(field, "cost.")
		yard, farm, both := strings.Cut(pair, "/")
		if !ok || !both {
			continue
		}
		cost := &compostlotv1.HaulCost{YardId: yard, FarmId: farm, Etag: v.r.PostFormValue("etag." + pair)}
		money, distance := strings.TrimSpace(v.r.PostFormValue(field)), strings.TrimSpace(v.r.PostFormValue("distance."+pair))
		switch {
		case money == "" && distance == "":
			continue
		case money != "" && distance != "":
			return view{}, fault.InvalidField("distance."+pair, "%s", v.words.T("sharing.one_of_both"))
		case money != "":
			minor, err := v.minor(field)
			if err != nil {
				return view{}, err
			}
			cost.By = &compostlotv1.HaulCost_MinorPerTonne{MinorPerTonne: v.words.ForTonne(minor)}
		default:
			km, err := v.whole("distance." + pair)
			if err != nil {
				return view{}, err
			}
			cost.By = &compostlotv1.HaulCost_DistanceKm{DistanceKm: int32(min(km, 1<<30))}
		}
		req.HaulCosts = append(req.HaulCosts, cost)
	}
	if len(req.GetHaulCosts()) == 0 {
		return view{goTo: "/sharing"}, nil
	}
	_, err := p.compostlot.SaveHaulCosts(v.ctx, req)
	if f := fault.From(err); err != nil {
		for i, field := range f.Fields { // name the field of the pair
			number, rest, ok := strings.Cut(strings.TrimPrefix(field.Path, "haul_costs["), "]")
			at, convErr := strconv.Atoi(number)
			if ok && convErr == nil && at < len(req.GetHaulCosts()) {
				kind := "cost."
				if strings.Contains(rest, "distance") {
					kind = "distance."
				}
				f.Fields[i].Path = kind + req.GetHaulCosts()[at].GetYardId() + "/" + req.GetHaulCosts()[at].GetFarmId()
			}
		}
		return view{}, f
	}
	return view{goTo: "/sharing?done=saved"}, nil
}
