package web

import (
	"net/http"
	"net/url"
	"strings"

	"golang.org/x/sync/errgroup"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// ordersAhead is how many days a kitchen sees: today and six more.
const ordersAhead = 7

// addOrders adds the pages of kitchens.
func (p *Pages) addOrders(mux *http.ServeMux) {
	for path, show := range map[string]func(*visit, *form) (view, error){
		"/orders": p.showOrders, "/standing": p.showStanding, "/deliveries": p.showDeliveries,
	} {
		mux.HandleFunc("GET "+path, p.page(func(v *visit) (view, error) { return show(v, newForm()) }))
	}
	for path, handle := range map[string]func(*visit) (view, error){
		"/orders/save": p.saveOrder, "/standing/save": p.saveStanding, "/standing/end": submit(p.endStanding, p.showStanding, nil), "/deliveries/received": p.confirmDelivery,
	} {
		mux.HandleFunc("POST "+path, p.page(handle))
	}
}

// ordersPage is a kitchen's days.
type ordersPage struct {
	Customer string // where the office looks at a kitchen's; empty for the kitchen itself
	Form     *form
	Done     string
	Days     []orderDay
	Likely   *likely // nil where nothing is known of tomorrow
}

// likely is what tomorrow's lines will probably get.
type likely struct {
	Basis string // key of what the figures rest on
	AsOf  string
	Short []likelyRow
}

// likelyRow is a line that is likely to be short.
type likelyRow struct {
	Product, Reason string // Reason is the key of a text
	Likely, Ordered int64
}

// orderDay is one day with its orders.
type orderDay struct {
	Date     string
	Tomorrow bool
	Past     bool // today: it comes, and is not changed
	Cutoff   cutoff
	Fixed    bool // nothing can be changed by who looks
	Orders   []orderCard
	New      orderCard // for a day without an order
}

// orderCard is one order with the form that changes it.
type orderCard struct {
	ID, Etag, Date string
	Cancelled      bool
	Packs          int64
	Lines          []orderLine
	Change         *form
	Fields         []orderField
	Customer       string
}

// orderLine is packs of one product.
type orderLine struct {
	Product      string
	Packs, Least int64 // Least is the fewest that are of use; 0 for any
}

// orderField is one product to order, and the fewest packs of it that are of use.
type orderField struct{ Packs, Least input }

// showOrders shows the days of the buyer's kitchen.
func (p *Pages) showOrders(v *visit, f *form) (view, error) {
	customer, err := customerOf(v)
	if err != nil {
		return view{}, err
	}
	page := ordersPage{Customer: officeCustomer(v), Form: f, Done: v.r.URL.Query().Get("done")}
	var (
		n       names
		rules   *orderv1.OrderingSettings
		outlook *orderv1.DayOutlook
	)
	days := make([][]*orderv1.Order, ordersAhead)
	group, ctx := errgroup.WithContext(v.ctx)
	group.Go(func() (err error) {
		n, err = p.names(ctx, productNames)
		return err
	})
	group.Go(func() (err error) {
		rules, err = p.order.GetOrderingSettings(ctx, &orderv1.GetOrderingSettingsRequest{})
		return err
	})
	group.Go(func() (err error) {
		outlook, err = p.order.GetDayOutlook(ctx, &orderv1.GetDayOutlookRequest{DeliveryDate: v.today(1), CustomerId: customer})
		return err
	})
	for i := range days {
		group.Go(func() error {
			res, err := p.order.ListOrders(ctx, &orderv1.ListOrdersRequest{DeliveryDate: v.today(i), CustomerId: customer})
			days[i] = res.GetOrders()
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return view{}, err
	}
	page.Likely = likelyOf(v, outlook, n)
	for i, orders := range days {
		day := orderDay{Date: v.today(i), Tomorrow: i == 1, Past: i == 0, Cutoff: v.cutoffOf(rules, v.today(i))}
		// The office may change what is ordered after the cut-off.
		day.Fixed = day.Past || !day.Cutoff.Open() && v.who.Role == identity.Buyer
		for _, o := range orders {
			day.Orders = append(day.Orders, orderCardOf(v, f, o, n, day.Fixed))
		}
		if len(orders) == 0 && !day.Fixed {
			day.New = orderCardOf(v, f, &orderv1.Order{DeliveryDate: day.Date}, n, false)
		}
		page.Days = append(page.Days, day)
	}
	return view{template: "orders", title: "orders.title", data: page}, nil
}

// likelyOf is what is likely to be short of tomorrow's lines; nil where there are none.
func likelyOf(v *visit, o *orderv1.DayOutlook, n names) *likely {
	if len(o.GetLines()) == 0 {
		return nil
	}
	l := &likely{}
	if as := o.GetSupplyAsOf(); as != nil {
		l.AsOf = v.words.Instant(as.AsTime(), v.zone)
	}
	for _, line := range o.GetLines() {
		l.Basis = "likely." + strings.ToLower(strings.TrimPrefix(line.GetBasis().String(), "LIKELY_BASIS_"))
		if line.GetLikely() < line.GetOrdered() {
			l.Short = append(l.Short, likelyRow{
				n.product(line.GetProductId()), "likely_reason." + strings.ToLower(strings.TrimPrefix(line.GetReason().String(), "LIKELY_REASON_")), line.GetLikely(), line.GetOrdered(),
			})
		}
	}
	return l
}

// officeCustomer is the kitchen that the office looks at; empty for a kitchen itself.
func officeCustomer(v *visit) string {
	if v.who.CustomerID != "" {
		return ""
	}
	return v.r.FormValue("customer")
}

// customerOf is the kitchen that the visitor stands for; the office names one.
func customerOf(v *visit) (string, error) {
	if v.who.CustomerID != "" {
		return v.who.CustomerID, nil
	}
	if customer := v.r.FormValue("customer"); customer != "" {
		return customer, nil
	}
	return "", fault.New(fault.Forbidden, "NO_CUSTOMER", "%s", v.words.T("problem.no_customer"))
}

func orderCardOf(v *visit, f *form, o *orderv1.Order, n names, fixed bool) orderCard {
	card := orderCard{ID: o.GetOrderId(), Etag: o.GetEtag(), Date: o.GetDeliveryDate(), Cancelled: o.GetState() == orderv1.OrderState_ORDER_STATE_CANCELLED, Customer: officeCustomer(v)}
	lines := byID(o.GetLines(), (*orderv1.OrderLine).GetProductId, func(l *orderv1.OrderLine) *orderv1.OrderLine { return l })
	for _, l := range o.GetLines() {
		card.Packs += l.GetPacks()
		card.Lines = append(card.Lines, orderLine{n.product(l.GetProductId()), l.GetPacks(), l.GetSmallestPacks()})
	}
	if fixed {
		return card
	}
	card.Change = f.For("order-" + card.Date)
	for _, id := range sortedKeys(n.products) {
		field := newInput(card.Change, "order-"+card.Date, "whole", "packs."+id, n.product(id), wholeOr(lines[id].GetPacks()), v.words.T("unit.packs"))
		least := newInput(card.Change, "order-"+card.Date, "whole", "least."+id, n.product(id), wholeOr(lines[id].GetSmallestPacks()), v.words.T("unit.packs"))
		card.Fields = append(card.Fields, orderField{field, least})
	}
	return card
}

// saveOrder places, changes or, with no packs left, cancels the order of a day.
func (p *Pages) saveOrder(v *visit) (view, error) {
	lines, err := v.orderLines()
	if err == nil {
		err = p.sendOrder(v, lines)
	}
	if err != nil {
		return again(v, err, p.showOrders, orderFieldOf(lines))
	}
	return view{goTo: "/orders?done=saved" + customerQuery(v) + "#d-" + url.PathEscape(v.r.PostFormValue("day"))}, nil
}

func (p *Pages) sendOrder(v *visit, lines []*orderv1.OrderLine) error {
	requestID, id, etag := v.r.PostFormValue("request_id"), v.r.PostFormValue("order"), v.r.PostFormValue("etag")
	switch {
	case id == "" && len(lines) == 0:
		return fault.New(fault.Invalid, "NOTHING_ORDERED", "%s", v.words.T("orders.nothing"))
	case id == "":
		customer, err := customerOf(v)
		if err != nil {
			return err
		}
		_, err = p.order.PlaceOrder(v.ctx, &orderv1.PlaceOrderRequest{RequestId: requestID, Order: &orderv1.Order{CustomerId: customer, DeliveryDate: v.r.PostFormValue("day"), Lines: lines}})
		return err
	case len(lines) == 0:
		_, err := p.order.CancelOrder(v.ctx, &orderv1.CancelOrderRequest{RequestId: requestID, OrderId: id, Etag: etag})
		return err
	default:
		_, err := p.order.ChangeOrder(v.ctx, &orderv1.ChangeOrderRequest{RequestId: requestID, OrderId: id, Lines: lines, Etag: etag})
		return err
	}
}

func customerQuery(v *visit) string {
	if v.who.CustomerID != "" || v.r.FormValue("customer") == "" {
		return ""
	}
	return "&customer=" + url.QueryEscape(v.r.FormValue("customer"))
}

// orderLines reads the packs of each product, by product; none for blank and for 0.
func (v *visit) orderLines() ([]*orderv1.OrderLine, error) {
	var lines []*orderv1.OrderLine
	for _, name := range sortedKeys(v.r.PostForm) {
		product, ok := strings.CutPrefix(name, "packs.")
		if !ok {
			continue
		}
		packs, err := v.whole(name)
		if err != nil {
			return nil, err
		}
		least, err := v.whole("least." + product)
		if err != nil {
			return nil, err
		}
		if packs > 0 {
			lines = append(lines, &orderv1.OrderLine{ProductId: product, Packs: packs, SmallestPacks: least})
		}
	}
	return lines, nil
}

// orderFieldOf turns "order.lines[1].packs" or "lines[1].product_id" into the form's field.
func orderFieldOf(lines []*orderv1.OrderLine) func(string) string {
	return func(path string) string {
		_, rest, ok := strings.Cut(path, "lines[")
		if i, found := indexOf(rest); ok && found && i < len(lines) {
			if strings.HasSuffix(rest, ".smallest_packs") {
				return "least." + lines[i].GetProductId()
			}
			return "packs." + lines[i].GetProductId()
		}
		return path
	}
}
