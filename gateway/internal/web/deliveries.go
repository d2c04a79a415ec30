package web

import (
	"strings"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
)

// deliveredDays is how many days back deliveries are shown; problemRows is how many things a
// kitchen can name at once.
const (
	deliveredDays = 14
	problemRows   = 3
)

// problemKinds are what can be wrong with packs, in the order in which they are offered.
var problemKinds = []string{"missing", "wrong_product", "underweight", "damaged", "discoloured", "wet", "too_open", "too_warm", "unsafe", "other"}

// deliveriesPage is what came to a kitchen, the newest first.
type deliveriesPage struct {
	Customer   string // as in ordersPage
	Form       *form
	Done       bool
	Deliveries []deliveryCard
	Table      *table
}

// deliveryCard is one delivery with the form that tells how it came.
type deliveryCard struct {
	Order, Date   string
	Packs         int64
	Lines         []deliveredLine
	Receipt       *receipt
	Closed        bool // all that left is confirmed
	Problems      []problemRow
	Receive       *form
	Count, Remark input
	Rows          []problemFields
}

// deliveredLine is packs out of one lot.
type deliveredLine struct {
	Product, Lot string
	Packs        int64
	Instead      bool // another product than ordered
}

// receipt is what the kitchen said last.
type receipt struct {
	By, At, Remark string
	Packs          int64
}

// problemRow is what was wrong with packs.
type problemRow struct {
	Product, Kind, Remark string
	Packs                 int64
	Unsafe                bool
}

// problemFields are the fields of one thing that is wrong.
type problemFields struct {
	ProductName, KindName string
	Products              []roomChoice
	Kinds                 []stageChoice
	Packs, Remark         input
}

// showDeliveries shows what came in the last two weeks.
func (p *Pages) showDeliveries(v *visit, f *form) (view, error) {
	customer, err := customerOf(v)
	if err != nil {
		return view{}, err
	}
	page := deliveriesPage{Customer: officeCustomer(v), Form: f, Done: v.r.URL.Query().Get("done") != ""}
	var (
		res *orderv1.ListDeliveriesResponse
		n   names
	)
	err = together(v.ctx,
		ask(&res, p.order.ListDeliveries, &orderv1.ListDeliveriesRequest{FromDate: v.today(-deliveredDays), UntilDate: v.today(1), CustomerId: customer}),
		p.naming(&n, productNames),
	)
	if err != nil {
		return view{}, err
	}
	t := &table{ID: "deliveries", Caption: v.words.T("deliveries.title"), Columns: []column{
		{Key: "word.day", Name: "delivery_date"}, {Key: "word.product", Name: "product"}, {Key: "word.lot", Name: "pick_lot_id"}, {Key: "unit.packs", Name: "packs", Figures: true}, {Key: "deliveries.said", Name: "received_packs_of_order", Figures: true},
	}}
	all := res.GetDeliveries()
	for i := len(all) - 1; i >= 0; i-- {
		page.Deliveries = append(page.Deliveries, deliveryCardOf(v, f, all[i], n))
		said := none()
		if all[i].GetReceipt() != nil {
			said = v.count(all[i].GetReceipt().GetReceivedPacks())
		}
		for _, l := range all[i].GetLines() {
			t.Rows = append(t.Rows, []cell{v.date(all[i].GetDeliveryDate()), name(n.product(nameOr(l.GetPackedProductId(), l.GetProductId()))), code(l.GetPickLotId()), v.count(l.GetPacks()), said})
		}
	}
	if len(t.Rows) > 0 {
		page.Table = v.table(t)
	}
	return view{template: "deliveries", title: "deliveries.title", data: page}, nil
}

func deliveryCardOf(v *visit, f *form, d *orderv1.OrderDelivery, n names) deliveryCard {
	card := deliveryCard{Order: d.GetOrderId(), Date: d.GetDeliveryDate(), Packs: d.GetDispatchedPacks(), Closed: d.GetState() == orderv1.DeliveryState_DELIVERY_STATE_CONFIRMED}
	ordered := map[string]bool{}
	for _, l := range d.GetLines() {
		ordered[l.GetProductId()] = true
		packed := nameOr(l.GetPackedProductId(), l.GetProductId())
		card.Lines = append(card.Lines, deliveredLine{n.product(packed), l.GetPickLotId(), l.GetPacks(), packed != l.GetProductId()})
	}
	if r := d.GetReceipt(); r != nil {
		card.Receipt = &receipt{By: r.GetConfirmedBy(), At: v.words.Instant(r.GetConfirmedAt().AsTime(), v.zone), Remark: r.GetRemark(), Packs: r.GetReceivedPacks()}
	}
	for _, one := range d.GetProblems() {
		card.Problems = append(card.Problems, problemRow{
			n.product(one.GetProductId()), "problem_kind." + strings.ToLower(strings.TrimPrefix(one.GetKind().String(), "RECEIPT_PROBLEM_KIND_")), one.GetRemark(), one.GetPacks(),
			one.GetKind() == orderv1.ReceiptProblemKind_RECEIPT_PROBLEM_KIND_UNSAFE,
		})
	}
	id := "received-" + card.Order
	card.Receive = f.For(id)
	card.Count = newInput(card.Receive, id, "whole", "received_packs", v.words.T("orders.count"), "", "")
	card.Remark = newInput(card.Receive, id, "text", "remark", v.words.T("orders.remark"), "", "")
	for i := range problemRows {
		r := problemFields{ProductName: row("product", i), KindName: row("kind", i)}
		r.Packs = newInput(card.Receive, id, "whole", row("packs", i), v.words.T("deliveries.packs"), "", "")
		r.Remark = newInput(card.Receive, id, "text", row("remark", i), v.words.T("deliveries.words"), "", "")
		chosen := card.Receive.Value(r.ProductName, "")
		for _, product := range sortedKeys(ordered) {
			r.Products = append(r.Products, roomChoice{product, n.product(product), product == chosen})
		}
		r.Kinds = choices(problemKinds, "problem_kind.", card.Receive.Value(r.KindName, ""))
		card.Rows = append(card.Rows, r)
	}
	return card
}

// confirmDelivery says what the kitchen counted, and what is wrong with which packs.
func (p *Pages) confirmDelivery(v *visit) (view, error) {
	req := &orderv1.ConfirmDeliveryRequest{RequestId: v.r.PostFormValue("request_id"), OrderId: v.r.PostFormValue("order"), Remark: v.text("remark")}
	paths := rowPaths{}
	err := func() (err error) {
		if v.text("received_packs") == "" {
			return fault.InvalidField("received_packs", "%s", v.words.T("orders.count_needed"))
		}
		if req.ReceivedPacks, err = v.whole("received_packs"); err != nil {
			return err
		}
		for _, i := range v.rows("packs", "remark") {
			packs, err := v.whole(row("packs", i))
			if err != nil {
				return err
			}
			if packs == 0 {
				return fault.InvalidField(row("packs", i), "%s", v.words.T("deliveries.packs_needed"))
			}
			paths.add("problems", len(req.GetProblems()), i, "packs", "packs", "product_id", "packs", "kind", "packs", "pick_lot_id", "packs", "remark", "remark")
			req.Problems = append(req.Problems, &orderv1.ReceiptProblem{
				ProductId: v.text(row("product", i)), Packs: packs, Remark: v.text(row("remark", i)),
				Kind: orderv1.ReceiptProblemKind(orderv1.ReceiptProblemKind_value["RECEIPT_PROBLEM_KIND_"+strings.ToUpper(v.text(row("kind", i)))]),
			})
		}
		_, err = p.order.ConfirmDelivery(v.ctx, req)
		return err
	}()
	if err != nil {
		return again(v, err, p.showDeliveries, paths.name)
	}
	return view{goTo: "/deliveries?done=received" + customerQuery(v)}, nil
}
