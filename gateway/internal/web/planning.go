package web

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

// planningPage is what the planner reckons with: prices and weights, the days on which steps
// begin, and holidays.
type planningPage struct {
	Form           *form
	Done           string
	Weights        *form
	WeightsEtag    string
	Prices, Wishes []input
	Products       []productCosts
	Days           *form
	DaysEtag       string
	Steps          []stepDays
	Holidays       []holidayRow
	Weekdays       []string
}

// productCosts is what a kilogram too few or too many of a product costs.
type productCosts struct {
	Product     string
	Short, Over input
}

// stepDays are the days on which a step does not begin.
type stepDays struct {
	Kind     string // as forms name it
	Key      string
	Closed   []dayTick
	Holidays bool
}

// dayTick is one day of the week of a step.
type dayTick struct {
	Number int
	Key    string
	Closed bool
}

// holidayRow is one marked day, or an empty row for another.
type holidayRow struct {
	Date, Name input
	Closed     bool
	Number     int
}

// weight is one figure of the planning settings with the form's field for it.
type weight struct {
	name string
	unit string // key of the unit
	kind figureKind
	at   func(*schedulingv1.PlanningSettings) **int64
}

// figureKind is how a figure is shown and typed.
type figureKind int

const (
	inWhole    figureKind = iota // as it is
	inMass                       // kilograms, in the co-op's unit
	inMoney                      // minor units, with decimals
	inPerMass                    // the same for a kilogram
	inPerTonne                   // the same for 1,000 kg
)

// show writes a figure as a field has it.
func (k figureKind) show(v *visit, n int64) string {
	switch k {
	case inMass:
		return v.words.Field(n * 1000)
	case inMoney:
		return amount(n)
	case inPerMass:
		return amount(v.words.PerMass(n))
	case inPerTonne:
		return amount(v.words.PerTonne(n))
	}
	return plain(n)
}

// read reads a field; nil where it is blank.
func (k figureKind) read(v *visit, name string) (*int64, error) {
	if strings.TrimSpace(v.r.PostFormValue(name)) == "" {
		return nil, nil
	}
	var n int64
	var err error
	switch k {
	case inWhole:
		n, err = v.whole(name)
	case inMass:
		n, err = v.kilograms(name)
	default:
		n, err = v.minor(name)
	}
	switch k {
	case inPerMass:
		n = v.words.ForMass(n)
	case inPerTonne:
		n = v.words.ForTonne(n)
	}
	return &n, err
}

// prices and wishes are the settings in the order of the page.
var prices = []weight{
	{"compost", "planning.per_tonne", inPerTonne, func(s *schedulingv1.PlanningSettings) **int64 { return &s.CompostMinorPerTonne }},
	{"spawn", "planning.per_mass", inPerMass, func(s *schedulingv1.PlanningSettings) **int64 { return &s.SpawnMinorPerKg }},
	{"casing", "planning.per_tonne", inPerTonne, func(s *schedulingv1.PlanningSettings) **int64 { return &s.CasingMinorPerTonne }},
	{"labour", "planning.per_hour", inMoney, func(s *schedulingv1.PlanningSettings) **int64 { return &s.LabourMinorPerHour }},
	{"unpublished", "planning.mass_per_week", inMass, func(s *schedulingv1.PlanningSettings) **int64 { return &s.UnpublishedKgPerWeek }},
}

var wishes = []weight{
	{"change", "planning.per_fill", inMoney, func(s *schedulingv1.PlanningSettings) **int64 { return &s.ChangeMinorPerFill }},
	{"balance", "planning.per_mass", inPerMass, func(s *schedulingv1.PlanningSettings) **int64 { return &s.BalanceMinorPerKg }},
	{"farm_minutes", "planning.minutes", inWhole, func(s *schedulingv1.PlanningSettings) **int64 { return &s.FarmMinutesPerWeek }},
	{"peak", "planning.per_hour", inMoney, func(s *schedulingv1.PlanningSettings) **int64 { return &s.PeakMinorPerHour }},
}

// fields are where errors of the message's fields belong in the form.
var planningFields = map[string]string{
	"compost_minor_per_tonne": "compost", "spawn_minor_per_kg": "spawn", "casing_minor_per_tonne": "casing", "labour_minor_per_hour": "labour",
	"unpublished_kg_per_week": "unpublished", "change_minor_per_fill": "change", "balance_minor_per_kg": "balance", "farm_minutes_per_week": "farm_minutes", "peak_minor_per_hour": "peak",
}

// weekdays are the days of the week by their ISO 8601 numbers less one.
var weekdays = []string{"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"}

// stepKinds are the steps that take hands.
var stepKinds = []schedulingv1.StageKind{
	schedulingv1.StageKind_STAGE_KIND_FILLING, schedulingv1.StageKind_STAGE_KIND_SPAWNING, schedulingv1.StageKind_STAGE_KIND_CASING, schedulingv1.StageKind_STAGE_KIND_COOK_OUT,
}

const (
	spareHolidays = 2
	mostHolidays  = 1000
)

// planningRoutes are the pages around the quarter.
func (p *Pages) planningRoutes(mux *http.ServeMux) {
	for path, show := range map[string]func(*visit, *form) (view, error){"/demand": p.showDemand, "/planning": p.showPlanning, "/month": p.showMonth, "/plan": p.showPlan, "/programmes": p.showProgrammes} {
		mux.HandleFunc("GET "+path, p.page(func(v *visit) (view, error) { return show(v, newForm()) }))
	}
	for path, handle := range map[string]func(*visit) (view, error){
		"/quarter/move": submit(p.moveCrop, p.showQuarter, hidden), "/quarter/shift": submit(p.shiftOverdue, p.showQuarter, nil),
		"/plan": p.planCrop, "/programmes": p.saveProgramme, "/demand/overrule": submit(p.overruleDemand, p.showDemand, afterDot), "/planning/weights": submit(p.saveWeights, p.showPlanning, planningField), "/planning/days": submit(p.saveDays, p.showPlanning, afterDot),
	} {
		mux.HandleFunc("POST "+path, p.page(handle))
	}
}

// showPlanning shows what the planner reckons with.
func (p *Pages) showPlanning(v *visit, f *form) (view, error) {
	var (
		settings *schedulingv1.PlanningSettings
		days     *schedulingv1.WorkingDays
		n        names
	)
	err := together(v.ctx,
		ask(&settings, p.scheduling.GetPlanningSettings, &schedulingv1.GetPlanningSettingsRequest{}),
		ask(&days, p.scheduling.GetWorkingDays, &schedulingv1.GetWorkingDaysRequest{}),
		p.naming(&n, productNames),
	)
	if err != nil {
		return view{}, err
	}
	page := planningPage{Form: f, Done: v.r.URL.Query().Get("done"), Weights: f.For("weights"), WeightsEtag: settings.GetEtag(), Days: f.For("days"), DaysEtag: days.GetEtag()}
	for _, day := range weekdays {
		page.Weekdays = append(page.Weekdays, "weekday."+day)
	}
	page.weights(v, settings, n)
	page.days(v, days)
	return view{template: "planning", title: "planning.title", data: page}, nil
}

func (page *planningPage) weights(v *visit, settings *schedulingv1.PlanningSettings, n names) {
	field := func(w weight) input {
		value, unit := "", v.words.T(w.unit)
		if set := *w.at(settings); set != nil {
			value = w.kind.show(v, *set)
		}
		if w.kind != inWhole && w.kind != inMass {
			unit = v.coop.GetCurrencyCode() + " " + unit
		}
		return newInput(page.Weights, "weights", "kg", w.name, v.words.T("planning."+w.name), value, unit)
	}
	for _, w := range prices {
		page.Prices = append(page.Prices, field(w))
	}
	for _, w := range wishes {
		page.Wishes = append(page.Wishes, field(w))
	}
	costs := map[string]*schedulingv1.ProductCost{}
	for _, c := range settings.GetProducts() {
		costs[c.GetProductId()] = c
	}
	unit := v.coop.GetCurrencyCode() + " " + v.words.T("planning.per_mass")
	for _, id := range sortedKeys(n.products) {
		row := productCosts{Product: productName(n, id)}
		short, over := "", ""
		if c := costs[id]; c != nil {
			if c.ShortMinorPerKg != nil {
				short = inPerMass.show(v, c.GetShortMinorPerKg())
			}
			if c.OverMinorPerKg != nil {
				over = inPerMass.show(v, c.GetOverMinorPerKg())
			}
		}
		row.Short = newInput(page.Weights, "weights", "kg", "short-"+id, v.words.T("planning.short"), short, unit)
		row.Over = newInput(page.Weights, "weights", "kg", "over-"+id, v.words.T("planning.over"), over, unit)
		page.Products = append(page.Products, row)
	}
}

// amount writes minor units as a form's field has them.
func amount(minor int64) string { return fmt.Sprintf("%d.%02d", minor/100, minor%100) }

func (page *planningPage) days(v *visit, days *schedulingv1.WorkingDays) {
	for _, kind := range stepKinds {
		step := stepDays{Key: kindKey(kind), Kind: strings.TrimPrefix(kindKey(kind), "stage.")}
		closed := map[schedulingv1.DayOfWeek]bool{}
		for _, r := range days.GetRules() {
			if r.GetKind() == kind {
				step.Holidays = step.Holidays || r.GetClosedOnHolidays()
				for _, d := range r.GetClosedOn() {
					closed[d] = true
				}
			}
		}
		if page.Days.Sent() {
			step.Holidays = page.Days.ticked(step.Kind, "holidays")
		}
		for i, day := range weekdays {
			tick := dayTick{Number: i + 1, Key: "weekday." + day, Closed: closed[schedulingv1.DayOfWeek(i+1)]}
			if page.Days.Sent() {
				tick.Closed = page.Days.ticked(step.Kind, plain(int64(i+1)))
			}
			step.Closed = append(step.Closed, tick)
		}
		page.Steps = append(page.Steps, step)
	}
	rows := len(days.GetMarkedDays()) + spareHolidays
	for page.Days.Sent() && page.Days.values.Has(fmt.Sprintf("date-%d", rows)) {
		rows++
	}
	for i := range rows {
		var day schedulingv1.MarkedDay
		if i < len(days.GetMarkedDays()) {
			day.Date, day.Name, day.Closed = days.GetMarkedDays()[i].GetDate(), days.GetMarkedDays()[i].GetName(), days.GetMarkedDays()[i].GetClosed()
		}
		row := holidayRow{Number: i, Closed: day.GetClosed()}
		if page.Days.Sent() {
			row.Closed = page.Days.ticked("closed", plain(int64(i)))
		}
		row.Date = newInput(page.Days, "days", "date", fmt.Sprintf("date-%d", i), v.words.T("word.day"), day.GetDate(), "")
		row.Name = newInput(page.Days, "days", "text", fmt.Sprintf("name-%d", i), v.words.T("planning.holiday"), day.GetName(), "")
		page.Holidays = append(page.Holidays, row)
	}
}

// ticked tells whether a box of a form that was sent was ticked.
func (f *form) ticked(name, value string) bool { return slices.Contains(f.values[name], value) }

// saveWeights changes prices and weights.
func (p *Pages) saveWeights(v *visit) (view, error) {
	settings := &schedulingv1.PlanningSettings{Etag: v.r.PostFormValue("etag")}
	for _, w := range slices.Concat(prices, wishes) {
		n, err := w.kind.read(v, w.name)
		if err != nil {
			return view{}, err
		}
		*w.at(settings) = n
	}
	for _, name := range sortedKeys(v.r.PostForm) {
		id, ok := strings.CutPrefix(name, "short-")
		if !ok {
			continue
		}
		cost := &schedulingv1.ProductCost{ProductId: id}
		for field, at := range map[string]**int64{"short-" + id: &cost.ShortMinorPerKg, "over-" + id: &cost.OverMinorPerKg} {
			n, err := inPerMass.read(v, field)
			if err != nil {
				return view{}, err
			}
			*at = n
		}
		if cost.ShortMinorPerKg != nil || cost.OverMinorPerKg != nil {
			settings.Products = append(settings.Products, cost)
		}
	}
	_, err := p.scheduling.SavePlanningSettings(v.ctx, &schedulingv1.SavePlanningSettingsRequest{RequestId: v.r.PostFormValue("request_id"), Settings: settings})
	return view{goTo: "/planning?done=weights"}, err
}

// planningField is the form's field of a field of the message.
func planningField(path string) string {
	last := afterDot(path)
	if name, ok := planningFields[last]; ok {
		return name
	}
	return last
}

// saveDays changes working days and holidays. Rules of steps that the page does not show stay.
func (p *Pages) saveDays(v *visit) (view, error) {
	kept, err := p.scheduling.GetWorkingDays(v.ctx, &schedulingv1.GetWorkingDaysRequest{})
	if err != nil {
		return view{}, err
	}
	days := &schedulingv1.WorkingDays{Etag: v.r.PostFormValue("etag")}
	for _, r := range kept.GetRules() {
		if !slices.Contains(stepKinds, r.GetKind()) {
			days.Rules = append(days.Rules, r)
		}
	}
	for _, kind := range stepKinds {
		rule := &schedulingv1.WorkRule{Kind: kind}
		name := strings.TrimPrefix(kindKey(kind), "stage.")
		for i := range weekdays {
			if slices.Contains(v.r.PostForm[name], plain(int64(i+1))) {
				rule.ClosedOn = append(rule.ClosedOn, schedulingv1.DayOfWeek(i+1))
			}
		}
		rule.ClosedOnHolidays = slices.Contains(v.r.PostForm[name], "holidays")
		if len(rule.GetClosedOn()) == len(weekdays) {
			return view{}, fault.New(fault.Invalid, "NO_DAY_LEFT", "%s", v.words.T("planning.no_day_left", v.words.T(kindKey(kind))))
		}
		if len(rule.GetClosedOn()) > 0 || rule.GetClosedOnHolidays() {
			days.Rules = append(days.Rules, rule)
		}
	}
	for i := range mostHolidays {
		if !v.r.PostForm.Has(fmt.Sprintf("date-%d", i)) {
			break
		}
		date, name := v.r.PostFormValue(fmt.Sprintf("date-%d", i)), strings.TrimSpace(v.r.PostFormValue(fmt.Sprintf("name-%d", i)))
		switch {
		case date == "" && name == "":
			continue
		case date == "" || name == "":
			return view{}, fault.InvalidField(fmt.Sprintf(map[bool]string{true: "date-%d", false: "name-%d"}[date == ""], i), "%s", v.words.T("planning.both"))
		}
		days.MarkedDays = append(days.MarkedDays, &schedulingv1.MarkedDay{Date: date, Name: name, Closed: slices.Contains(v.r.PostForm["closed"], plain(int64(i)))})
	}
	_, err = p.scheduling.SaveWorkingDays(v.ctx, &schedulingv1.SaveWorkingDaysRequest{RequestId: v.r.PostFormValue("request_id"), WorkingDays: days})
	return view{goTo: "/planning?done=days#days"}, err
}
