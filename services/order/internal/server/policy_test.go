package server_test

import (
	"context"
	"testing"

	"google.golang.org/grpc"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/rpc/rpctest"
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
	rpctest.Roles{
		MayCall: mayCall,
		As: func(role identity.Role) context.Context {
			return testkit.Context(t, identity.Identity{CoopID: r.coop.CoopID, Role: role, FarmID: "alder", YardID: "yard", CustomerID: "anchor"})
		},
	}.Check(t, r.conn, orderv1.OrderService_ServiceDesc.ServiceName)
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
		"list":            call(r.ListOrders, &orderv1.ListOrdersRequest{DeliveryDate: tomorrow, CustomerId: "bell"})(ctx),
		"place":           call(r.PlaceOrder, &orderv1.PlaceOrderRequest{RequestId: ids.New(), Order: wants("bell", today, "white", 1)})(ctx),
		"change":          call(r.ChangeOrder, &orderv1.ChangeOrderRequest{RequestId: ids.New(), OrderId: theirs.GetOrderId(), Lines: lines, Etag: theirs.GetEtag()})(ctx),
		"cancel":          call(r.CancelOrder, &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: theirs.GetOrderId(), Etag: theirs.GetEtag()})(ctx),
		"confirm":         call(r.ConfirmDelivery, &orderv1.ConfirmDeliveryRequest{RequestId: ids.New(), OrderId: theirs.GetOrderId()})(ctx),
		"standing orders": call(r.ListStandingOrders, &orderv1.ListStandingOrdersRequest{CustomerId: "bell"})(ctx),
		"standing days":   call(r.ListStandingDays, &orderv1.ListStandingDaysRequest{CustomerId: "bell"})(ctx),
		"expand":          call(r.ExpandStandingOrders, &orderv1.ExpandStandingOrdersRequest{RequestId: ids.New(), CustomerId: "bell"})(ctx),
		"stand":           call(r.SaveStandingOrder, &orderv1.SaveStandingOrderRequest{RequestId: ids.New(), StandingOrder: weekly("bell-weekly", "bell")})(ctx),
		"outlook":         call(r.GetDayOutlook, &orderv1.GetDayOutlookRequest{DeliveryDate: tomorrow, CustomerId: "bell"})(ctx),
		"deliveries":      call(r.ListDeliveries, &orderv1.ListDeliveriesRequest{FromDate: tomorrow, CustomerId: "bell"})(ctx),
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
		"pack list":  call(r.GetPackList, &orderv1.GetPackListRequest{DeliveryDate: tomorrow, FarmId: "birch"})(ctx),
		"dispatch":   call(r.Dispatch, &orderv1.DispatchRequest{RequestId: ids.New(), DeliveryDate: tomorrow, FarmId: "birch"})(ctx),
		"deliveries": call(r.ListDeliveries, &orderv1.ListDeliveriesRequest{FromDate: tomorrow, FarmId: "birch"})(ctx),
		"needs":      call(r.ListSpawnNeeds, &orderv1.ListSpawnNeedsRequest{FromDate: tomorrow, UntilDate: tomorrow, FarmId: "birch"})(ctx),
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
