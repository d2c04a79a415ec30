package web

import (
	"strings"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
)

// standingPage is what a kitchen wants week by week, and what that means for the days to come.
type standingPage struct {
	Customer string // as in ordersPage
	Form     *form
	Done     string
	Orders   []standingCard
	New      standingCard
	Days     []standingDay
}

// standingCard is one standing order with the form that changes it.
type standingCard struct {
	ID, Etag, Since        string
	Customer               string
	Change, End            *form
	Lines                  []standingLine
	From, Until            input
	Exceptions             [][]input
	Paused, Ended, Unsaved bool
	By, At                 string
}

// standingLine is the fields of one product.
type standingLine struct {
	ProductName  string
	Products     []roomChoice
	Packs, Least input
	Days         []stageChoice
	DaysName     string
}

// standingDay is one day to come.
type standingDay struct {
	Date, Outcome string // Outcome is the key of a text
	Lines         []orderLine
	Differs       bool // what is ordered is not what the standing orders say
}

// weekdayNames are the names that forms give the days of the week, Monday first.
var weekdayNames = []string{"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"}

// showStanding shows a kitchen's standing orders.
func (p *Pages) showStanding(v *visit, f *form) (view, error) {
	customer, err := customerOf(v)
	if err != nil {
		return view{}, err
	}
	page := standingPage{Customer: officeCustomer(v), Form: f, Done: v.r.URL.Query().Get("done")}
	var (
		orders *orderv1.ListStandingOrdersResponse
		days   *orderv1.ListStandingDaysResponse
		n      names
	)
	err = together(v.ctx,
		ask(&orders, p.order.ListStandingOrders, &orderv1.ListStandingOrdersRequest{CustomerId: customer}),
		ask(&days, p.order.ListStandingDays, &orderv1.ListStandingDaysRequest{CustomerId: customer}),
		p.naming(&n, productNames),
	)
	if err != nil {
		return view{}, err
	}
	for _, o := range orders.GetStandingOrders() {
		page.Orders = append(page.Orders, standingCardOf(v, f, o, n))
	}
	page.New = standingCardOf(v, f, &orderv1.StandingOrder{CustomerId: customer, FromDate: v.today(1)}, n)
	for _, d := range days.GetDays() {
		day := standingDay{Date: d.GetDeliveryDate(), Outcome: "standing_outcome." + strings.ToLower(strings.TrimPrefix(d.GetOutcome().String(), "STANDING_OUTCOME_"))}
		day.Differs = d.GetOutcome() == orderv1.StandingOutcome_STANDING_OUTCOME_KEPT || d.GetOutcome() == orderv1.StandingOutcome_STANDING_OUTCOME_TOO_LATE
		for _, l := range d.GetLines() {
			day.Lines = append(day.Lines, orderLine{n.product(l.GetProductId()), l.GetPacks(), l.GetSmallestPacks()})
		}
		page.Days = append(page.Days, day)
	}
	return view{template: "standing", title: "standing.title", data: page}, nil
}

func standingCardOf(v *visit, f *form, o *orderv1.StandingOrder, n names) standingCard {
	id := "standing-" + nameOr(o.GetStandingOrderId(), "new")
	form := f.For(id)
	card := standingCard{
		ID: o.GetStandingOrderId(), Etag: o.GetEtag(), Customer: officeCustomer(v), Change: form, End: f.For("end-" + o.GetStandingOrderId()),
		Paused: o.GetPaused(), Unsaved: o.GetStandingOrderId() == "", By: o.GetChangedBy(), Since: o.GetFromDate(),
	}
	if form.Sent() {
		card.Paused = form.Value("paused", "") != ""
	}
	if at := o.GetChangedAt(); at != nil {
		card.At = v.words.Instant(at.AsTime(), v.zone)
	}
	card.From = newInput(form, id, "date", "from_date", v.words.T("standing.from"), o.GetFromDate(), "")
	card.Until = newInput(form, id, "date", "until_date", v.words.T("standing.until"), o.GetUntilDate(), "")
	for i := range rowsOf(form, "packs", len(o.GetLines())) {
		line := &orderv1.StandingLine{}
		if i < len(o.GetLines()) {
			line = o.GetLines()[i]
		}
		card.Lines = append(card.Lines, standingLineOf(v, form, id, i, line, n))
	}
	for i := range rowsOf(form, "rest_from", len(o.GetExceptions())) {
		e := &orderv1.StandingException{}
		if i < len(o.GetExceptions()) {
			e = o.GetExceptions()[i]
		}
		card.Exceptions = append(card.Exceptions, []input{
			newInput(form, id, "date", row("rest_from", i), v.words.T("standing.rest_from"), e.GetFromDate(), ""),
			newInput(form, id, "date", row("rest_until", i), v.words.T("standing.rest_until"), e.GetUntilDate(), ""),
			newInput(form, id, "text", row("rest_note", i), v.words.T("standing.rest_note"), e.GetNote(), ""),
		})
	}
	return card
}

func standingLineOf(v *visit, form *form, id string, i int, line *orderv1.StandingLine, n names) standingLine {
	l := standingLine{ProductName: row("product", i), DaysName: row("days", i)}
	l.Products = productChoices(n, form.Value(l.ProductName, line.GetProductId()))
	l.Packs = newInput(form, id, "whole", row("packs", i), v.words.T("standing.packs"), wholeOr(line.GetPacks()), "")
	l.Least = newInput(form, id, "whole", row("least", i), v.words.T("orders.least"), wholeOr(line.GetSmallestPacks()), "")
	chosen := map[string]bool{}
	for _, day := range line.GetWeekdays() {
		chosen[weekdayNames[day-1]] = true
	}
	if form.Sent() {
		chosen = map[string]bool{}
		for _, day := range form.values[l.DaysName] {
			chosen[day] = true
		}
	}
	for _, day := range weekdayNames {
		l.Days = append(l.Days, stageChoice{day, "wd." + day, chosen[day]})
	}
	return l
}

// saveStanding makes or changes a standing order. A new one goes by the form's request id, so
// that a form sent twice makes one.
func (p *Pages) saveStanding(v *visit) (view, error) {
	paths := rowPaths{}
	err := func() error {
		customer, err := customerOf(v)
		if err != nil {
			return err
		}
		o := &orderv1.StandingOrder{
			StandingOrderId: v.text("standing_order"), CustomerId: customer, Etag: v.r.PostFormValue("etag"), FromDate: v.text("from_date"), UntilDate: v.text("until_date"), Paused: v.text("paused") != "",
		}
		if o.GetStandingOrderId() == "" {
			o.StandingOrderId = v.text("request_id")
		}
		if err := v.standingLines(o, paths); err != nil {
			return err
		}
		for _, i := range v.rows("rest_from", "rest_until", "rest_note") {
			paths.add("standing_order.exceptions", len(o.GetExceptions()), i, "from_date", "rest_from", "until_date", "rest_until", "note", "rest_note")
			o.Exceptions = append(o.Exceptions, &orderv1.StandingException{FromDate: v.text(row("rest_from", i)), UntilDate: v.text(row("rest_until", i)), Note: v.text(row("rest_note", i))})
		}
		_, err = p.order.SaveStandingOrder(v.ctx, &orderv1.SaveStandingOrderRequest{RequestId: v.text("request_id"), StandingOrder: o})
		return err
	}()
	if err != nil {
		return again(v, err, p.showStanding, paths.name)
	}
	return view{goTo: "/standing?done=saved" + customerQuery(v)}, nil
}

// standingLines reads the lines of which anything was filled in.
func (v *visit) standingLines(o *orderv1.StandingOrder, paths rowPaths) error {
	for _, i := range v.rows("packs", "product", "least") {
		packs, err := v.whole(row("packs", i))
		if err != nil {
			return err
		}
		least, err := v.whole(row("least", i))
		if err != nil {
			return err
		}
		line := &orderv1.StandingLine{ProductId: v.text(row("product", i)), Packs: packs, SmallestPacks: least}
		for _, day := range v.r.PostForm[row("days", i)] {
			line.Weekdays = append(line.Weekdays, orderv1.Weekday(orderv1.Weekday_value["WEEKDAY_"+strings.ToUpper(day)]))
		}
		paths.add("standing_order.lines", len(o.GetLines()), i, "packs", "packs", "product_id", "packs", "smallest_packs", "least", "weekdays", "packs")
		o.Lines = append(o.Lines, line)
	}
	return nil
}

// endStanding ends a standing order for good.
func (p *Pages) endStanding(v *visit) (view, error) {
	_, err := p.order.EndStandingOrder(v.ctx, &orderv1.EndStandingOrderRequest{RequestId: v.text("request_id"), StandingOrderId: v.text("standing_order"), Etag: v.r.PostFormValue("etag")})
	return view{goTo: "/standing?done=ended" + customerQuery(v)}, err
}
