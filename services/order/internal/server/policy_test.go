package server_test

import (
	"context"
	"strings"
	"testing"

	"google.golang.org/grpc"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/testkit"
)

// Every RPC against every role, written out: c(oordinator), g(rower), y(ard manager), b(uyer),
// o(perator), s(ervice).
var mayCall = map[string]string{
	"SaveCustomer": "co", "BatchSaveCustomers": "co", "ListCustomers": "cob",
	"SaveProduct": "co", "BatchSaveProducts": "co", "ListProducts": "cgybos",
	"PlaceOrder": "cob", "BatchPlaceOrders": "cob", "ChangeOrder": "cob", "CancelOrder": "cob", "ListOrders": "cob",
	"SaveStandingOrder": "cob", "BatchSaveStandingOrders": "cob", "EndStandingOrder": "cob", "ListStandingOrders": "cob",
	"ExpandStandingOrders": "cob", "ListStandingDays": "cob",
	"SaveOrderingSettings": "co", "GetOrderingSettings": "cob", "GetCutoff": "cob", "GetDayOutlook": "cob",
	"ListDeliveries": "cogb", "ListSpawnNeeds": "cog",
	"RunMatch": "c", "GetMatch": "co", "ConfirmMatch": "c",
	"Rebalance": "c", "ExplainLine": "cob", "PinAllocation": "c", "RemovePin": "c", "ListPins": "co",
	"SaveMatchSettings": "co", "GetMatchSettings": "cog", "GetSeason": "cog",
	"GetPackList": "cog", "Dispatch": "cg", "ConfirmDelivery": "cb",
	"TraceBack": "cogb", "TraceForward": "co",
}

func TestEveryRoleAtEveryCall(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	calls := map[string]func(context.Context) error{
		"SaveCustomer":       call(r.SaveCustomer, &orderv1.SaveCustomerRequest{}),
		"BatchSaveCustomers": call(r.BatchSaveCustomers, &orderv1.BatchSaveCustomersRequest{}),
		"ListCustomers":      call(r.ListCustomers, &orderv1.ListCustomersRequest{}),
		"SaveProduct":        call(r.SaveProduct, &orderv1.SaveProductRequest{}),
		"BatchSaveProducts":  call(r.BatchSaveProducts, &orderv1.BatchSaveProductsRequest{}),
		"ListProducts":       call(r.ListProducts, &orderv1.ListProductsRequest{}),
		"PlaceOrder":         call(r.PlaceOrder, &orderv1.PlaceOrderRequest{}),
		"BatchPlaceOrders":   call(r.BatchPlaceOrders, &orderv1.BatchPlaceOrdersRequest{}),
		"ChangeOrder":        call(r.ChangeOrder, &orderv1.ChangeOrderRequest{}),
		"CancelOrder":        call(r.CancelOrder, &orderv1.CancelOrderRequest{}),
		"ListOrders":         call(r.ListOrders, &orderv1.ListOrdersRequest{}),
		"GetMatch":           call(r.GetMatch, &orderv1.GetMatchRequest{}),
		"ConfirmMatch":       call(r.ConfirmMatch, &orderv1.ConfirmMatchRequest{}),
		"GetPackList":        call(r.GetPackList, &orderv1.GetPackListRequest{}),
		"Dispatch":           call(r.Dispatch, &orderv1.DispatchRequest{}),
		"ConfirmDelivery":    call(r.ConfirmDelivery, &orderv1.ConfirmDeliveryRequest{}),
		"TraceBack":          call(r.TraceBack, &orderv1.TraceBackRequest{}),
		"TraceForward":       call(r.TraceForward, &orderv1.TraceForwardRequest{}),
		"ExplainLine":        call(r.ExplainLine, &orderv1.ExplainLineRequest{}),
		"PinAllocation":      call(r.PinAllocation, &orderv1.PinAllocationRequest{}),
		"RemovePin":          call(r.RemovePin, &orderv1.RemovePinRequest{}),
		"ListPins":           call(r.ListPins, &orderv1.ListPinsRequest{}),
		"SaveMatchSettings":  call(r.SaveMatchSettings, &orderv1.SaveMatchSettingsRequest{}),
		"GetMatchSettings":   call(r.GetMatchSettings, &orderv1.GetMatchSettingsRequest{}),
		"GetSeason":          call(r.GetSeason, &orderv1.GetSeasonRequest{}),
		"Rebalance": func(ctx context.Context) error {
			_, err := r.rebalance(t, ctx, &orderv1.RebalanceRequest{})
			return err
		},
		"RunMatch": func(ctx context.Context) error {
			_, _, err := r.run(t, ctx, &orderv1.RunMatchRequest{})
			return err
		},
	}
	service := orderv1.OrderService_ServiceDesc
	var methods []string
	for _, m := range service.Methods {
		methods = append(methods, m.MethodName)
	}
	for _, m := range service.Streams {
		methods = append(methods, m.StreamName)
	}
	if len(methods) != len(mayCall) {
		t.Errorf("%d methods, %d in the table", len(methods), len(mayCall))
	}
	for _, method := range methods {
		letters, ok := mayCall[method]
		if !ok {
			t.Errorf("%s is not in the table", method)
			continue
		}
		for _, role := range identity.Roles() {
			ctx := testkit.Context(t, identity.Identity{CoopID: r.coop.CoopID, Role: role, FarmID: "alder", YardID: "yard", CustomerID: "anchor"})
			err := calls[method](ctx)
			kind := fault.KindOf(err)
			got := err == nil || kind == fault.Invalid
			if want := strings.Contains(letters, string(role[:1])); got != want || (!want && kind != fault.Forbidden) {
				t.Errorf("%s as %s: allowed %v, want %v (%v)", method, role, got, want, err)
			}
		}
	}
}

// call makes a method into a call whose answer does not matter.
func call[Q, A any](method func(context.Context, Q, ...grpc.CallOption) (A, error), req Q) func(context.Context) error {
	return func(ctx context.Context) error {
		_, err := method(ctx, req)
		return err
	}
}

// A buyer sees and changes the own orders only.
func TestBuyerKeepsToTheOwnKitchen(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	mine := r.place(t, wants("anchor", tomorrow, "white", 3), wants("bell", tomorrow, "white", 4))
	theirs := mine[1]
	ctx := r.buyer(t, "anchor")

	orders := must[*orderv1.ListOrdersResponse](t)(r.ListOrders(ctx, &orderv1.ListOrdersRequest{DeliveryDate: tomorrow})).GetOrders()
	diff(t, "orders that the buyer sees", mine[:1], orders)
	customers := must[*orderv1.ListCustomersResponse](t)(r.ListCustomers(ctx, &orderv1.ListCustomersRequest{})).GetCustomers()
	if len(customers) != 1 || customers[0].GetCustomerId() != "anchor" {
		t.Errorf("customers that the buyer sees: %v", customers)
	}
	lines := theirs.GetLines()
	for name, err := range map[string]error{
		"list":    call(r.ListOrders, &orderv1.ListOrdersRequest{DeliveryDate: tomorrow, CustomerId: "bell"})(ctx),
		"place":   call(r.PlaceOrder, &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: wants("bell", today, "white", 1)})(ctx),
		"change":  call(r.ChangeOrder, &orderv1.ChangeOrderRequest{RequestId: ids.New(), OrderId: theirs.GetOrderId(), Lines: lines, Etag: theirs.GetEtag()})(ctx),
		"cancel":  call(r.CancelOrder, &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: theirs.GetOrderId(), Etag: theirs.GetEtag()})(ctx),
		"confirm": call(r.ConfirmDelivery, &orderv1.ConfirmDeliveryRequest{RequestId: ids.New(), OrderId: theirs.GetOrderId()})(ctx),
	} {
		if fault.KindOf(err) != fault.Forbidden {
			t.Errorf("%s of another kitchen: %v", name, err)
		}
	}
	placed := must[*orderv1.Order](t)(r.PlaceOrder(ctx, &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: wants("anchor", today, "white", 1)}))
	if placed.GetOrderId() != "anchor-20261125" {
		t.Errorf("the own order is %q", placed.GetOrderId())
	}
}

// A grower sees and sends the own farm's packs only.
func TestGrowerKeepsToTheOwnFarm(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	ctx := r.grower(t, "alder")
	for name, err := range map[string]error{
		"pack list": call(r.GetPackList, &orderv1.GetPackListRequest{DeliveryDate: tomorrow, FarmId: "birch"})(ctx),
		"dispatch":  call(r.Dispatch, &orderv1.DispatchRequest{RequestId: ids.New(), DeliveryDate: tomorrow, FarmId: "birch"})(ctx),
	} {
		if fault.KindOf(err) != fault.Forbidden {
			t.Errorf("%s of another farm: %v", name, err)
		}
	}
}

// What one co-op has, another neither sees nor touches, though the names are the same.
func TestTwoCoopsKnowNothingOfEachOther(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	r.place(t, wants("anchor", tomorrow, "white", 3))
	r.expect(t, "alder", "white", tomorrow, 5000, 1)
	m := r.matched(t, tomorrow)

	other := *r
	other.coop = testkit.Coop()
	refused(t, call(r.GetMatch, &orderv1.GetMatchRequest{MatchId: m.GetMatchId()})(other.office(t)), fault.NotFound, "", "")
	if all := must[*orderv1.ListCustomersResponse](t)(r.ListCustomers(other.office(t), &orderv1.ListCustomersRequest{})); len(all.GetCustomers()) > 0 {
		t.Errorf("the other co-op sees %v", all)
	}
	other.settle(t)
	other.place(t, wants("anchor", tomorrow, "white", 9))
	theirs := other.matched(t, tomorrow)
	if theirs.GetMatchId() != m.GetMatchId() || theirs.GetLines()[0].GetOrdered() != 9 || theirs.GetLines()[0].GetMatched() != 0 {
		t.Errorf("the other co-op's match: %v", theirs)
	}
	diff(t, "the first co-op's match", m, must[*orderv1.Match](t)(r.GetMatch(r.office(t), &orderv1.GetMatchRequest{DeliveryDate: tomorrow})))
}
