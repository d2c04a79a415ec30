package web

import (
	"strings"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

// demandPage is what customers are expected to want of one product, week by week, how the
// forecast was made, and where the office knows better.
type demandPage struct {
	Form     *form
	Done     bool
	Products []roomChoice
	Product  string
	Name     string
	Method   string
	History  int64
	Weekly   *table
	Scores   *table // nil where the history is too short to score any method
	Effects  *table // nil where no holiday is known to matter
	Weeks    []overrideRow
}

// overrideRow is a week with the form that overrules it.
type overrideRow struct {
	Week, ID, Etag string
	Grams, Own     int64
	Overruled      bool
	By, Reason     string
	Form           *form
	Mass, Why      input
}

// showDemand forecasts a quarter of one product.
func (p *Pages) showDemand(v *visit, f *form) (view, error) {
	page := demandPage{Form: f, Product: v.r.FormValue("product"), Done: v.r.FormValue("done") != ""}
	var (
		all *schedulingv1.GetDemandResponse
		n   names
	)
	err := together(v.ctx,
		ask(&all, p.scheduling.GetDemand, &schedulingv1.GetDemandRequest{Weeks: quarterDays / 7}),
		p.naming(&n, productNames),
	)
	if err != nil {
		return view{}, err
	}
	for i, one := range all.GetProducts() {
		chosen := one.GetProductId() == page.Product || page.Product == "" && i == 0
		page.Products = append(page.Products, roomChoice{one.GetProductId(), productName(n, one.GetProductId()), chosen})
		if chosen {
			page.Product, page.Name = one.GetProductId(), productName(n, one.GetProductId())
			page.fill(v, f, one)
		}
	}
	if page.Product != "" && page.Name == "" {
		return view{}, fault.New(fault.NotFound, "NO_PRODUCT", "%s", v.words.T("demand.no_product"))
	}
	return view{template: "demand", title: "demand.title", data: page}, nil
}

func (page *demandPage) fill(v *visit, f *form, one *schedulingv1.ProductDemand) {
	page.Method, page.History = methodKey(one.GetMethod()), int64(one.GetHistoryWeeks())
	mass := v.words.MassUnit()
	page.Weekly = &table{ID: "demand", Caption: v.words.T("quarter.week_by_week"), Columns: []column{
		{Key: "quarter.week_of", Name: "week"}, {Key: "demand.standing", Name: "standing_grams", Figures: true, Unit: mass}, {Key: "demand.forecast", Name: "forecast_grams", Figures: true, Unit: mass},
		{Key: "demand.ordered", Name: "ordered_grams", Figures: true, Unit: mass}, {Key: "demand.planned", Name: "planned_grams", Figures: true, Unit: mass}, {Key: "demand.marked", Name: "marked"},
	}}
	for _, w := range one.GetWeeks() {
		marked := none()
		switch {
		case w.GetOverride() != nil:
			marked = v.says("demand.overruled", w.GetOverride().GetReason(), w.GetOverride().GetBy())
		case w.GetHoliday() != "":
			marked = name(w.GetHoliday())
		}
		page.Weekly.Rows = append(page.Weekly.Rows, []cell{
			v.date(w.GetWeek()), v.weight(w.GetStandingGrams()), v.weight(w.GetForecastGrams()), v.weight(w.GetOrderedGrams()), v.weight(w.GetGrams()), marked,
		})
		row := overrideRow{
			Week: w.GetWeek(), ID: "week-" + w.GetWeek(), Grams: w.GetGrams(), Form: f.For(w.GetWeek()),
			Overruled: w.GetOverride() != nil, Etag: w.GetOverride().GetEtag(), By: w.GetOverride().GetBy(), Reason: w.GetOverride().GetReason(),
		}
		own := ""
		if row.Overruled {
			own = v.words.Field(w.GetOverride().GetGrams())
		}
		row.Mass = newInput(row.Form, row.ID, "kg", "grams", v.words.T("demand.own"), own, mass)
		row.Why = newInput(row.Form, row.ID, "text", "reason", v.words.T("demand.reason"), row.Reason, "")
		page.Weeks = append(page.Weeks, row)
	}
	v.table(page.Weekly)
	page.grounds(v, one)
}

// grounds lists how well the methods would have done, and what holidays did.
func (page *demandPage) grounds(v *visit, one *schedulingv1.ProductDemand) {
	if len(one.GetScores()) > 0 {
		page.Scores = &table{ID: "scores", Caption: v.words.T("demand.scores"), Columns: []column{
			{Key: "demand.method", Name: "method"}, {Key: "demand.error", Name: "mean_absolute_error_grams", Figures: true, Unit: v.words.MassUnit()}, {Key: "demand.scaled", Name: "scaled_error_per_mille", Figures: true},
		}}
		for _, s := range one.GetScores() {
			scaled := none()
			if s.ScaledPerMille != nil {
				scaled = figure(s.GetScaledPerMille(), v.words.Percent(s.GetScaledPerMille()))
			}
			page.Scores.Rows = append(page.Scores.Rows, []cell{v.says(methodKey(s.GetMethod())), v.weight(s.GetMeanAbsoluteGrams()), scaled})
		}
		v.table(page.Scores)
	}
	if len(one.GetEffects()) > 0 {
		page.Effects = &table{ID: "holidays", Caption: v.words.T("demand.effects"), Columns: []column{
			{Key: "demand.holiday", Name: "holiday"}, {Key: "demand.factor", Name: "factor_per_mille", Figures: true}, {Key: "demand.seen", Name: "past_weeks", Figures: true},
		}}
		for _, e := range one.GetEffects() {
			page.Effects.Rows = append(page.Effects.Rows, []cell{name(e.GetHoliday()), figure(e.GetFactorPerMille(), v.words.Percent(e.GetFactorPerMille())), v.count(int64(e.GetOccurrences()))})
		}
		v.table(page.Effects)
	}
}

// methodKey is the text that names a method of the forecast.
func methodKey(method string) string {
	return "method." + strings.NewReplacer(" ", "_", ",", "").Replace(method)
}

// overruleDemand puts the office's own figure in the place of the forecast; left blank, it takes
// the figure back.
func (p *Pages) overruleDemand(v *visit) (view, error) {
	o := &schedulingv1.DemandOverride{
		ProductId: v.r.PostFormValue("product"), Week: v.r.PostFormValue("form"),
		Reason: strings.TrimSpace(v.r.PostFormValue("reason")), Etag: v.r.PostFormValue("etag"),
	}
	if o.GetReason() == "" {
		return view{}, fault.InvalidField("reason", "%s", v.words.T("demand.say_why"))
	}
	if strings.TrimSpace(v.r.PostFormValue("grams")) != "" {
		grams, err := v.grams("grams")
		if err != nil {
			return view{}, err
		}
		o.Grams = &grams
	}
	if _, err := p.scheduling.SaveDemandOverride(v.ctx, &schedulingv1.SaveDemandOverrideRequest{RequestId: v.r.PostFormValue("request_id"), Override: o}); err != nil {
		return view{}, err
	}
	return view{goTo: "/demand?done=yes&product=" + o.GetProductId()}, nil
}

// productName is a product's name, or its id where it is not known.
func productName(n names, id string) string {
	if name := n.products[id].GetName(); name != "" {
		return name
	}
	return id
}
