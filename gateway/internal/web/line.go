package web

import (
	"context"
	"net/url"
	"strings"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// linePage tells why a line of a match got what it got, and lets the coordinator decide
// otherwise.
type linePage struct {
	Day, Match, Order, ProductID string
	Customer, Product            string
	Ordered, Matched, Missing    int64
	Why                          string
	Binds                        []bindRow
	Worth                        string // of one pack more; empty where nobody would take it
	From                         []sourceRow
	Farms, Lots                  []feedChoice
	Pins                         []pinRow
	Form                         *form
	Pin, Forbid, Raise           *form
	Packs                        input
	PinWhy, ForbidWhy, RaiseWhy  input
	Class                        input
	Effect                       *pinEffect
}

// bindRow is one thing that stands between a line and more packs; Key is its text.
type bindRow struct {
	Key   string
	Packs int64
}

// sourceRow is packs of the line out of one lot.
type sourceRow struct {
	Farm, FarmID, Lot, Product string
	Packs                      int64
	Instead                    bool // another product than ordered
}

// pinRow is one decision made by hand.
type pinRow struct {
	ID, Key, Order, ProductID, Product, From, By, Reason string
	Packs                                                int64
	Class                                                int64
	Form                                                 *form
}

// pinEffect is what a decision just made costs and changes.
type pinEffect struct {
	Cost string
	Rows *table // the lines that it changes; nil for none
}

func reasonKey(r orderv1.ShortReason) string {
	return "reason." + strings.ToLower(strings.TrimPrefix(r.String(), "SHORT_REASON_"))
}

// showLine explains one line of a match.
func (p *Pages) showLine(v *visit, f *form) (view, error) {
	page := linePage{Match: v.r.FormValue("match"), Order: v.r.FormValue("order"), ProductID: v.r.FormValue("product"), Form: f}
	var err error
	if page.Day, err = v.day(v.today(1)); err != nil {
		return view{}, err
	}
	var (
		line  *orderv1.ExplainLineResponse
		pins  *orderv1.ListPinsResponse
		match *orderv1.Match
		n     names
	)
	err = together(v.ctx,
		ask(&line, p.order.ExplainLine, &orderv1.ExplainLineRequest{MatchId: page.Match, OrderId: page.Order, ProductId: page.ProductID}),
		func(ctx context.Context) (err error) {
			match, err = p.order.GetMatch(ctx, &orderv1.GetMatchRequest{MatchId: page.Match})
			return unless(fault.NotFound, err)
		},
		ask(&pins, p.order.ListPins, &orderv1.ListPinsRequest{DeliveryDate: page.Day}),
		p.naming(&n, farmNames|customerNames|productNames),
	)
	if err != nil {
		return view{}, err
	}
	page.fill(v, line, n)
	for _, one := range pinRows(pins.GetPins(), n, f) {
		if one.Order == page.Order && one.ProductID == page.ProductID {
			page.Pins = append(page.Pins, one)
		}
	}
	page.Lots = lotsOf(match, page.ProductID, n)
	page.forms(v, f, n)
	return view{template: "line", title: "line.title", data: page}, nil
}

// aLot marks a choice of a pick lot where farms can be chosen too.
const aLot = "lot:"

// lotsOf are the pick lots from which a match takes packs for lines of a product.
func lotsOf(m *orderv1.Match, product string, n names) []feedChoice {
	farms := map[string]string{}
	for _, a := range m.GetAllocations() {
		if a.GetProductId() == product {
			farms[a.GetPickLotId()] = nameOf(n.farms, a.GetFarmId())
		}
	}
	var lots []feedChoice
	for _, lot := range sortedKeys(farms) {
		lots = append(lots, feedChoice{aLot + lot, farms[lot] + ", " + lot})
	}
	return lots
}

func (page *linePage) fill(v *visit, line *orderv1.ExplainLineResponse, n names) {
	l := line.GetLine()
	page.Customer, page.Product = nameOf(n.customers, l.GetCustomerId()), n.product(l.GetProductId())
	page.Ordered, page.Matched, page.Missing, page.Why = l.GetOrdered(), l.GetMatched(), l.GetOrdered()-l.GetMatched(), l.GetExplanation()
	for _, b := range l.GetBinds() {
		page.Binds = append(page.Binds, bindRow{reasonKey(b.GetReason()), b.GetPacks()})
	}
	if worth := line.GetProduct().GetMoreWorthMinor(); worth > 0 {
		page.Worth = v.words.Money(worth, v.coop.GetCurrencyCode())
	}
	for _, a := range line.GetAllocations() {
		row := sourceRow{Farm: nameOf(n.farms, a.GetFarmId()), FarmID: a.GetFarmId(), Lot: a.GetPickLotId(), Product: n.product(nameOr(a.GetPackedProductId(), a.GetProductId())), Packs: a.GetPacks()}
		row.Instead = a.GetPackedProductId() != "" && a.GetPackedProductId() != a.GetProductId()
		page.From = append(page.From, row)
	}
}

func (page *linePage) forms(v *visit, f *form, n names) {
	page.Pin, page.Forbid, page.Raise = f.For("packs"), f.For("forbid"), f.For("raise")
	for _, id := range sortedKeys(n.farms) {
		page.Farms = append(page.Farms, feedChoice{id, n.farms[id]})
	}
	page.Packs = newInput(page.Pin, "packs", "whole", "packs", v.words.T("line.packs"), plain(page.Matched), "")
	page.PinWhy = newInput(page.Pin, "packs", "text", "reason", v.words.T("line.reason"), "", "")
	page.ForbidWhy = newInput(page.Forbid, "forbid", "text", "reason", v.words.T("line.reason"), "", "")
	page.Class = newInput(page.Raise, "raise", "whole", "priority_class", v.words.T("line.class"), "", "")
	page.RaiseWhy = newInput(page.Raise, "raise", "text", "reason", v.words.T("line.reason"), "", "")
}

// pinKinds are the names that forms give the kinds of decisions.
var pinKinds = map[string]orderv1.PinKind{
	"packs": orderv1.PinKind_PIN_KIND_PACKS, "forbid": orderv1.PinKind_PIN_KIND_FORBID, "raise": orderv1.PinKind_PIN_KIND_RAISE,
}

func pinRows(pins []*orderv1.Pin, n names, f *form) []pinRow {
	var rows []pinRow
	for _, one := range pins {
		row := pinRow{
			ID: one.GetPinId(), Key: "pin." + strings.ToLower(strings.TrimPrefix(one.GetKind().String(), "PIN_KIND_")), Order: one.GetOrderId(), ProductID: one.GetProductId(),
			Product: n.product(one.GetProductId()), By: one.GetMadeBy(), Reason: one.GetReason(), Packs: one.GetPacks(), Class: int64(one.GetPriorityClass()),
			From: one.GetPickLotId(), Form: f.For("unpin-" + one.GetPinId()),
		}
		if one.GetFarmId() != "" {
			row.From = nameOf(n.farms, one.GetFarmId())
		}
		rows = append(rows, row)
	}
	return rows
}

// pinLine decides something about a line by hand and shows what it costs. The pin goes by the
// form's request id, so that a form sent twice makes one.
func (p *Pages) pinLine(v *visit) (view, error) {
	day, err := v.day("")
	if err != nil {
		return view{}, err
	}
	pin := &orderv1.Pin{
		PinId: v.r.PostFormValue("request_id"), DeliveryDate: day, Kind: pinKinds[v.r.PostFormValue("form")], OrderId: v.r.PostFormValue("order"), ProductId: v.r.PostFormValue("product"),
		FarmId: v.r.PostFormValue("farm_id"), Reason: strings.TrimSpace(v.r.PostFormValue("reason")),
	}
	if !ids.Valid(pin.GetPinId()) {
		return view{}, fault.New(fault.Invalid, "FORM_UNREADABLE", "%s", v.words.T("problem.form"))
	}
	if lot, ok := strings.CutPrefix(pin.GetFarmId(), aLot); ok {
		pin.FarmId, pin.PickLotId = "", lot
	}
	if pin.GetReason() == "" {
		return view{}, fault.InvalidField("reason", "%s", v.words.T("line.needs_reason"))
	}
	if pin.Packs, err = v.whole("packs"); err != nil {
		return view{}, err
	}
	class, err := v.whole("priority_class")
	if err != nil || class > 9 {
		return view{}, fault.InvalidField("priority_class", "%s", v.words.T("problem.whole", v.r.PostFormValue("priority_class")))
	}
	pin.PriorityClass = int32(class)
	res, err := p.order.PinAllocation(v.ctx, &orderv1.PinAllocationRequest{RequestId: v.r.PostFormValue("request_id"), Pin: pin})
	if err != nil {
		return view{}, err
	}
	shown, err := p.showLine(v, newForm())
	if err != nil {
		return view{}, err
	}
	n, err := p.names(v.ctx, customerNames|productNames)
	if err != nil {
		return view{}, err
	}
	page := shown.data.(linePage)
	page.Effect = &pinEffect{Cost: v.words.Money(res.GetCostMinor(), v.coop.GetCurrencyCode())}
	if len(res.GetEffects()) > 0 {
		t := &table{ID: "effects", Caption: v.words.T("line.decided"), Columns: []column{
			{Key: "word.kitchen", Name: "kitchen"}, {Key: "word.product", Name: "product"}, {Key: "line.without", Name: "packs_without", Figures: true}, {Key: "line.with", Name: "packs_with", Figures: true},
		}}
		for _, e := range res.GetEffects() {
			t.Rows = append(t.Rows, []cell{name(nameOf(n.customers, e.GetCustomerId())), name(n.product(e.GetProductId())), v.count(e.GetWithout()), v.count(e.GetWith())})
		}
		page.Effect.Rows = v.table(t)
	}
	shown.data = page
	return shown, nil
}

// removePin takes a decision back.
func (p *Pages) removePin(v *visit) (view, error) {
	res, err := p.order.RemovePin(v.ctx, &orderv1.RemovePinRequest{RequestId: v.r.PostFormValue("request_id"), PinId: v.r.PostFormValue("pin")})
	return view{goTo: "/tomorrow?day=" + url.QueryEscape(res.GetPin().GetDeliveryDate())}, err
}
