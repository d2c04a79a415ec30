package web

import (
	"net/url"
	"strings"

	"golang.org/x/sync/errgroup"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
)

// ordersAhead is how many days a kitchen sees: yesterday, today and five more.
const ordersAhead = 7

// ordersPage is a kitchen's days.
type ordersPage struct {
	Customer string
	Form     *form
	Done     string
	Days     []orderDay
}

// orderDay is one day with its orders.
type orderDay struct {
	Date     string
	Tomorrow bool
	Past     bool // today or before: it can be received, not changed
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
	Receive        *form
	Count, Remark  input
}

// orderLine is packs of one product.
type orderLine struct {
	Product string
	Packs   int64
}

// orderField is one product to order, with its pack.
type orderField struct {
	Input input
	Grams int64
}

// showOrders shows the days of the buyer's kitchen.
func (p *Pages) showOrders(v *visit, f *form) (view, error) {
	customer, err := customerOf(v)
	if err != nil {
		return view{}, err
	}
	page := ordersPage{Form: f, Done: v.r.URL.Query().Get("done")}
	var n names
	days := make([][]*orderv1.Order, ordersAhead)
	group, ctx := errgroup.WithContext(v.ctx)
	group.Go(func() (err error) {
		n, err = p.names(ctx, productNames)
		return err
	})
	for i := range days {
		group.Go(func() error {
			res, err := p.order.ListOrders(ctx, &orderv1.ListOrdersRequest{DeliveryDate: v.today(i - 1), CustomerId: customer})
			days[i] = res.GetOrders()
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return view{}, err
	}
	for i, orders := range days {
		day := orderDay{Date: v.today(i - 1), Tomorrow: i == 2, Past: i < 2}
		for _, o := range orders {
			day.Orders = append(day.Orders, orderCardOf(v, f, o, n, day.Past))
		}
		if len(orders) == 0 && !day.Past {
			day.New = orderCardOf(v, f, &orderv1.Order{DeliveryDate: day.Date}, n, false)
		}
		page.Days = append(page.Days, day)
	}
	return view{template: "orders", title: "orders.title", data: page}, nil
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

func orderCardOf(v *visit, f *form, o *orderv1.Order, n names, past bool) orderCard {
	card := orderCard{ID: o.GetOrderId(), Etag: o.GetEtag(), Date: o.GetDeliveryDate(), Cancelled: o.GetState() == orderv1.OrderState_ORDER_STATE_CANCELLED}
	packs := map[string]int64{}
	for _, l := range o.GetLines() {
		packs[l.GetProductId()] = l.GetPacks()
		card.Packs += l.GetPacks()
		card.Lines = append(card.Lines, orderLine{n.product(l.GetProductId()), l.GetPacks()})
	}
	if past {
		card.Receive = f.For("received-" + card.ID)
		card.Count = newInput(card.Receive, "received-"+card.ID, "whole", "received_packs", v.words.T("orders.count"), "", "")
		card.Remark = newInput(card.Receive, "received-"+card.ID, "text", "remark", v.words.T("orders.remark"), "", "")
		return card
	}
	card.Change = f.For("order-" + card.Date)
	for _, id := range sortedKeys(n.products) {
		value := ""
		if packs[id] > 0 {
			value = plain(packs[id])
		}
		field := newInput(card.Change, "order-"+card.Date, "whole", "packs."+id, n.product(id), value, v.words.T("unit.packs"))
		card.Fields = append(card.Fields, orderField{field, n.products[id].GetPackGrams()})
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
		if packs > 0 {
			lines = append(lines, &orderv1.OrderLine{ProductId: product, Packs: packs})
		}
	}
	return lines, nil
}

// orderFieldOf turns "order.lines[1].packs" or "lines[1].product_id" into the form's field.
func orderFieldOf(lines []*orderv1.OrderLine) func(string) string {
	return func(path string) string {
		_, rest, ok := strings.Cut(path, "lines[")
		if i, found := indexOf(rest); ok && found && i < len(lines) {
			return "packs." + lines[i].GetProductId()
		}
		return path
	}
}

// confirmDelivery says what the kitchen counted.
func (p *Pages) confirmDelivery(v *visit) (view, error) {
	if strings.TrimSpace(v.r.PostFormValue("received_packs")) == "" {
		return view{}, fault.InvalidField("received_packs", "%s", v.words.T("orders.count_needed"))
	}
	packs, err := v.whole("received_packs")
	if err != nil {
		return view{}, err
	}
	_, err = p.order.ConfirmDelivery(v.ctx, &orderv1.ConfirmDeliveryRequest{
		RequestId: v.r.PostFormValue("request_id"), OrderId: v.r.PostFormValue("order"), ReceivedPacks: packs, Remark: strings.TrimSpace(v.r.PostFormValue("remark")),
	})
	return view{goTo: "/orders?done=received" + customerQuery(v)}, err
}
