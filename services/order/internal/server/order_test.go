package server_test

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

func TestPlaceChangeAndCancel(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	before := len(r.events(t))
	order := must[*orderv1.Order](t)(r.PlaceOrder(r.office(t), &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: wants("anchor", tomorrow, "white", 3)}))
	diff(t, "placed", &orderv1.Order{
		OrderId: "anchor-20261126", CustomerId: "anchor", DeliveryDate: tomorrow, Lines: []*orderv1.OrderLine{{ProductId: "white", Packs: 3}},
		State: orderv1.OrderState_ORDER_STATE_PLACED, Version: 1, Etag: order.GetEtag(), Origin: orderv1.OrderOrigin_ORDER_ORIGIN_BY_HAND,
	}, order)
	again := must[*orderv1.Order](t)(r.PlaceOrder(r.office(t), &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: wants("anchor", tomorrow, "white", 3)}))
	diff(t, "an equal order", order, again)
	_, err := r.PlaceOrder(r.office(t), &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: wants("anchor", tomorrow, "white", 4)})
	refused(t, err, fault.Exists, "ORDER_EXISTS", "order.order_id")

	change := &orderv1.ChangeOrderRequest{RequestId: ids.New(), OrderId: order.GetOrderId(), Etag: order.GetEtag(), Lines: []*orderv1.OrderLine{
		{ProductId: "white", Packs: 2}, {ProductId: "oyster", Packs: 1},
	}}
	changed := must[*orderv1.Order](t)(r.ChangeOrder(r.buyer(t, "anchor"), change))
	if changed.GetVersion() != 2 || len(changed.GetLines()) != 2 {
		t.Errorf("changed: %v", changed)
	}
	change.RequestId = ids.New()
	_, err = r.ChangeOrder(r.office(t), change)
	if f := refused(t, err, fault.Stale, "STALE_ETAG", "etag"); f.Meta["changedBy"] != "Chef" || !strings.Contains(f.Message, "Chef") {
		t.Errorf("who changed it: %q, %v", f.Message, f.Meta)
	}
	cancelled := must[*orderv1.Order](t)(r.CancelOrder(r.office(t), &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: order.GetOrderId(), Etag: changed.GetEtag()}))
	if cancelled.GetState() != orderv1.OrderState_ORDER_STATE_CANCELLED || cancelled.GetVersion() != 3 {
		t.Errorf("cancelled: %v", cancelled)
	}
	_, err = r.CancelOrder(r.office(t), &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: order.GetOrderId(), Etag: cancelled.GetEtag()})
	refused(t, err, fault.Precondition, "ORDER_CANCELLED", "order anchor-20261126")
	_, err = r.CancelOrder(r.office(t), &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: "nobody", Etag: "v1"})
	refused(t, err, fault.NotFound, "", "")
	diff(t, "listed", []*orderv1.Order{cancelled}, must[*orderv1.ListOrdersResponse](t)(r.ListOrders(r.office(t), &orderv1.ListOrdersRequest{DeliveryDate: tomorrow})).GetOrders())
	diff(t, "events", []string{"order.placed anchor-20261126", "order.changed anchor-20261126", "order.cancelled anchor-20261126"}, r.subjects(t, before))
	diff(t, "the last event", &orderv1.OrderCancelled{Order: cancelled}, r.events(t)[before+2].Payload)
}

func TestBadOrdersAreRefusedWithTheirPlace(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	good := wants("anchor", tomorrow, "white", 3)
	spoilt := func(spoil func(o *orderv1.Order)) *orderv1.Order {
		o := wants("bell", tomorrow, "white", 3)
		spoil(o)
		return o
	}
	cases := []struct {
		field string
		order *orderv1.Order
	}{
		{"orders[1].customer_id", spoilt(func(o *orderv1.Order) { o.CustomerId = "nobody" })},
		{"orders[1].delivery_date", spoilt(func(o *orderv1.Order) { o.DeliveryDate = "2026-02-30" })},
		{"orders[1].delivery_date", spoilt(func(o *orderv1.Order) { o.DeliveryDate = "26-11-2026" })},
		{"orders[1].lines[0].product_id", spoilt(func(o *orderv1.Order) { o.Lines[0].ProductId = "gold" })},
		{"orders[1].lines[1].product_id", spoilt(func(o *orderv1.Order) { o.Lines = append(o.Lines, o.Lines[0]) })},
		{"orders[1].lines[0].packs", spoilt(func(o *orderv1.Order) { o.Lines[0].Packs = 0 })},
		{"orders[1].lines", spoilt(func(o *orderv1.Order) { o.Lines = nil })},
		{"orders[1].order_id", proto.CloneOf(good)},
		{"orders[1].order_id", spoilt(func(o *orderv1.Order) { o.OrderId = "Not a name" })},
	}
	before := len(r.events(t))
	for _, c := range cases {
		_, err := r.BatchPlaceOrders(r.office(t), &orderv1.BatchPlaceOrdersRequest{RequestId: ids.New(), Orders: []*orderv1.Order{good, c.order}})
		refused(t, err, fault.Invalid, "", c.field)
	}
	_, err := r.PlaceOrder(r.office(t), &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: cases[0].order})
	refused(t, err, fault.Invalid, "", "order.customer_id")
	if listed := must[*orderv1.ListOrdersResponse](t)(r.ListOrders(r.office(t), &orderv1.ListOrdersRequest{DeliveryDate: tomorrow})); len(listed.GetOrders()) > 0 {
		t.Errorf("a part of a refused batch was taken: %v", listed)
	}
	diff(t, "events", []string{}, r.subjects(t, before))
	placed := r.place(t, good)[0]
	for field, lines := range map[string][]*orderv1.OrderLine{
		"lines[0].product_id": {{ProductId: "gold", Packs: 1}},
		"lines[1].product_id": {{ProductId: "white", Packs: 1}, {ProductId: "white", Packs: 1}},
	} {
		_, err := r.ChangeOrder(r.office(t), &orderv1.ChangeOrderRequest{RequestId: ids.New(), OrderId: placed.GetOrderId(), Etag: placed.GetEtag(), Lines: lines})
		refused(t, err, fault.Invalid, "", field)
	}
	_, err = r.ListOrders(r.office(t), &orderv1.ListOrdersRequest{DeliveryDate: "2026-02-30"})
	refused(t, err, fault.Invalid, "", "delivery_date")
}

// An id formed of customer and day must fit into an id.
func TestAnOrderIDTooLongIsRefused(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	long := "k" + strings.Repeat("i", 60) + "n"
	must[*orderv1.Customer](t)(r.SaveCustomer(r.office(t), &orderv1.SaveCustomerRequest{RequestId: ids.New(), Customer: customer(long, 1)}))
	order := wants(long, tomorrow, "white", 1)
	_, err := r.PlaceOrder(r.office(t), &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: order})
	refused(t, err, fault.Invalid, "", "order.order_id")
	order.OrderId = "short"
	must[*orderv1.Order](t)(r.PlaceOrder(r.office(t), &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: order}))
}
