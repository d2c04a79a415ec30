package web

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

// spareRows is how many empty rows a list of settings ends with.
const spareRows = 2

// settingsPage is what the co-op has agreed: units, when kitchens may order, and the rules of its
// matches.
type settingsPage struct {
	Form *form
	Done string

	Coop               *form
	CoopEtag           string
	Pounds, Fahrenheit bool

	Ordering               *form
	OrderingEtag           string
	CutTime, CutDays, Days input
	Closed                 [][]input

	Match                          *form
	MatchEtag                      string
	ShortRules, LeftRules          []stageChoice
	Tilt, Season, Together, Grades input
	Costs                          []costRow
	Zones, Held                    [][]input
	FarmIDs                        []string // to choose from
	ZoneIDs                        []string
}

// costRow is what a promise of a product costs when it is broken, and when it is not made.
type costRow struct{ Broken, Unsold input }

// showSettings shows all settings with the forms that change them.
func (p *Pages) showSettings(v *visit, f *form) (view, error) {
	var (
		match     *orderv1.MatchSettings
		ordering  *orderv1.OrderingSettings
		customers *orderv1.ListCustomersResponse
		n         names
	)
	err := together(v.ctx,
		ask(&match, p.order.GetMatchSettings, &orderv1.GetMatchSettingsRequest{}),
		ask(&ordering, p.order.GetOrderingSettings, &orderv1.GetOrderingSettingsRequest{}),
		ask(&customers, p.order.ListCustomers, &orderv1.ListCustomersRequest{}),
		p.naming(&n, farmNames|productNames),
	)
	if err != nil {
		return view{}, err
	}
	page := settingsPage{Form: f, Done: v.r.URL.Query().Get("done"), FarmIDs: sortedKeys(n.farms), ZoneIDs: zonesOf(match, customers.GetCustomers())}
	page.coop(v, f)
	page.ordering(v, f.For("ordering"), ordering)
	page.match(v, f.For("match"), match, n)
	return view{template: "settings", title: "settings.title", data: page}, nil
}

// addSettings adds the pages of what the co-op has agreed.
func (p *Pages) addSettings(mux *http.ServeMux) {
	for path, show := range map[string]func(*visit, *form) (view, error){
		"/settings": p.showSettings, "/settings/farms": p.showFarms, "/kitchens": p.showKitchens, "/kitchens/{kitchen}": p.showKitchen,
	} {
		mux.HandleFunc("GET "+path, p.page(func(v *visit) (view, error) { return show(v, newForm()) }))
	}
	for path, handle := range map[string]func(*visit) (view, error){
		"/settings/units": submit(p.saveUnits, p.showSettings, nil), "/settings/ordering": p.saveOrdering, "/settings/match": p.saveMatchRules,
		"/settings/farms": p.saveFarms, "/kitchens/{kitchen}": p.saveKitchen,
	} {
		mux.HandleFunc("POST "+path, p.page(handle))
	}
}

// zonesOf are the zones that customers or costs name.
func zonesOf(match *orderv1.MatchSettings, customers []*orderv1.Customer) []string {
	zones := map[string]bool{}
	for _, z := range match.GetZoneCosts() {
		zones[z.GetZoneId()] = true
	}
	for _, c := range customers {
		if c.GetZoneId() != "" {
			zones[c.GetZoneId()] = true
		}
	}
	return sortedKeys(zones)
}

func (page *settingsPage) coop(v *visit, f *form) {
	page.Coop, page.CoopEtag = f.For("coop"), v.coop.GetEtag()
	units := v.words.Units()
	page.Pounds = page.Coop.Value("mass", map[bool]string{true: "lb"}[units.Pounds]) == "lb"
	page.Fahrenheit = page.Coop.Value("temperature", map[bool]string{true: "F"}[units.Fahrenheit]) == "F"
}

// saveUnits changes the units that pages show.
func (p *Pages) saveUnits(v *visit) (view, error) {
	coop := proto.CloneOf(v.coop)
	coop.Etag = v.r.PostFormValue("etag")
	coop.MassUnit, coop.TemperatureUnit = schedulingv1.MassUnit_MASS_UNIT_KILOGRAM, schedulingv1.TemperatureUnit_TEMPERATURE_UNIT_CELSIUS
	if v.r.PostFormValue("mass") == "lb" {
		coop.MassUnit = schedulingv1.MassUnit_MASS_UNIT_POUND
	}
	if v.r.PostFormValue("temperature") == "F" {
		coop.TemperatureUnit = schedulingv1.TemperatureUnit_TEMPERATURE_UNIT_FAHRENHEIT
	}
	_, err := p.scheduling.SaveCoop(v.ctx, &schedulingv1.SaveCoopRequest{RequestId: v.r.PostFormValue("request_id"), Coop: coop})
	return view{goTo: "/settings?done=units"}, err
}

func (page *settingsPage) ordering(v *visit, f *form, o *orderv1.OrderingSettings) {
	page.Ordering, page.OrderingEtag = f, o.GetEtag()
	field := func(kind, name, label, value string) input {
		return newInput(f, "ordering", kind, name, v.words.T(label), value, "")
	}
	page.CutTime = field("time", "cutoff_time", "settings.cutoff_time", o.GetCutoffTime())
	page.CutDays = field("whole", "cutoff_days_before", "settings.cutoff_days", plain(int64(o.GetCutoffDaysBefore())))
	page.Days = field("whole", "horizon_days", "settings.horizon", wholeOr(int64(o.GetHorizonDays())))
	for i := range rowsOf(f, "closed_date", len(o.GetClosedDays())) {
		var day orderv1.ClosedDay
		if i < len(o.GetClosedDays()) {
			day.Date, day.Name = o.GetClosedDays()[i].GetDate(), o.GetClosedDays()[i].GetName()
		}
		page.Closed = append(page.Closed, []input{
			field("date", row("closed_date", i), "settings.closed_date", day.GetDate()), field("text", row("closed_name", i), "settings.closed_name", day.GetName()),
		})
	}
}

// saveOrdering changes when kitchens may order.
func (p *Pages) saveOrdering(v *visit) (view, error) {
	paths := rowPaths{}
	o := &orderv1.OrderingSettings{CutoffTime: strings.TrimSpace(v.r.PostFormValue("cutoff_time")), Etag: v.r.PostFormValue("etag")}
	if _, bad := time.Parse("15:04", o.GetCutoffTime()); bad != nil && o.GetCutoffTime() != "" {
		return again(v, fault.InvalidField("cutoff_time", "%s", v.words.T("settings.no_time", o.GetCutoffTime())), p.showSettings, nil)
	}
	days, err := v.upTo("cutoff_days_before", 7)
	if err == nil {
		o.CutoffDaysBefore = int32(days)
		days, err = v.upTo("horizon_days", 60)
		o.HorizonDays = int32(days)
	}
	for _, i := range v.rows("closed_date", "closed_name") {
		paths.add("settings.closed_days", len(o.GetClosedDays()), i, "date", "closed_date", "name", "closed_name")
		o.ClosedDays = append(o.ClosedDays, &orderv1.ClosedDay{Date: v.r.PostFormValue(row("closed_date", i)), Name: v.text(row("closed_name", i))})
	}
	if err == nil {
		_, err = p.order.SaveOrderingSettings(v.ctx, &orderv1.SaveOrderingSettingsRequest{RequestId: v.r.PostFormValue("request_id"), Settings: o})
	}
	if err != nil {
		return again(v, err, p.showSettings, paths.name)
	}
	return view{goTo: "/settings?done=ordering#ordering"}, nil
}

// row is the name of a field in a row of a list.
func row(name string, i int) string { return name + "." + strconv.Itoa(i) }

// rowsOf are the rows to show of a list: those kept or typed, and some to fill in.
func rowsOf(f *form, name string, kept int) []struct{} {
	rows := kept
	for f.values != nil && f.values.Has(row(name, rows)) {
		rows++
	}
	if f.values != nil {
		return make([]struct{}, rows)
	}
	return make([]struct{}, rows+spareRows)
}

// mostRows is how many rows a list of settings may have.
const mostRows = 1000

// rows are the rows of a list in which anything was filled in; the first name is that of a field
// that every row has.
func (v *visit) rows(fields ...string) []int {
	var filled []int
	for i := range mostRows {
		if !v.r.PostForm.Has(row(fields[0], i)) {
			break
		}
		for _, name := range fields {
			if v.text(row(name, i)) != "" {
				filled = append(filled, i)
				break
			}
		}
	}
	return filled
}

// text is what was typed into a field, without blanks around it.
func (v *visit) text(name string) string { return strings.TrimSpace(v.r.PostFormValue(name)) }

// upTo reads a whole number that is at most so many.
func (v *visit) upTo(name string, most int64) (int64, error) {
	n, err := v.whole(name)
	if err == nil && n > most {
		err = fault.InvalidField(name, "%s", v.words.T("settings.at_most", most))
	}
	return n, err
}

// wholeOr writes a number, and nothing for 0.
func wholeOr(n int64) string {
	if n == 0 {
		return ""
	}
	return plain(n)
}

// rowPaths turns the path of a field of a list in a request into the name of the form's.
type rowPaths map[string]string

// add tells that element i of a list came from a row: of each pair the first is the message's
// field, the second the form's.
func (r rowPaths) add(list string, i, from int, pairs ...string) {
	for k := 0; k+1 < len(pairs); k += 2 {
		r[fmt.Sprintf("%s[%d].%s", list, i, pairs[k])] = row(pairs[k+1], from)
	}
	r[fmt.Sprintf("%s[%d]", list, i)] = row(pairs[1], from)
}

// name is the form's name of a message's field; a field of the form itself keeps its name.
func (r rowPaths) name(path string) string {
	if name, ok := r[path]; ok {
		return name
	}
	if message, field, ok := strings.Cut(path, "."); ok && (message == "settings" || message == "customer") {
		return afterDot(field)
	}
	return path
}
