package server_test

import (
	"fmt"
	"testing"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

const whiteLot = "alder-1-white-2026-11-26"

func TestPackListOfAFarm(t *testing.T) {
	t.Parallel()
	r := ready(t)
	r.expect(t, "birch", "white", tomorrow, 2000, 1)
	ask := &orderv1.GetPackListRequest{DeliveryDate: tomorrow, FarmId: "alder"}
	_, err := r.GetPackList(r.grower(t, "alder"), ask)
	refused(t, err, fault.NotFound, "NO_CONFIRMED_MATCH", "")
	m := r.confirm(t, r.matched(t, tomorrow))
	line := func(customer string, packs int64) *orderv1.PackListLine {
		return &orderv1.PackListLine{
			RoomId: "alder-1", CustomerId: customer, CustomerName: "Kitchen " + customer, OrderId: customer + "-20261126",
			ProductId: "white", ProductName: "Product white", PickLotId: whiteLot, Packs: packs, PackGrams: 1000, PackedProductId: "white",
		}
	}
	diff(t, "pack list", &orderv1.PackList{
		FarmId: "alder", DeliveryDate: tomorrow, MatchId: m.GetMatchId(), Lines: []*orderv1.PackListLine{line("anchor", 5), line("bell", 3)},
	}, must[*orderv1.PackList](t)(r.GetPackList(r.grower(t, "alder"), ask)))
	ask.DeliveryDate = "2026-02-30"
	_, err = r.GetPackList(r.grower(t, "alder"), ask)
	refused(t, err, fault.Invalid, "", "delivery_date")
}

// Less was picked than allocated: the higher class gets its packs first, and the rest leaves
// when it is picked.
func TestDispatchSendsWhatWasPickedAndThenTheRest(t *testing.T) {
	t.Parallel()
	r := ready(t)
	m := r.confirm(t, r.matched(t, tomorrow))
	before := len(r.events(t))
	ask := &orderv1.DispatchRequest{RequestId: ids.New(), DeliveryDate: tomorrow, FarmId: "alder"}
	_, err := r.Dispatch(r.grower(t, "alder"), ask)
	refused(t, err, fault.Precondition, "NOTHING_TO_SEND", "lot "+whiteLot)

	r.pick(t, "alder", "white", tomorrow, 6500, 1, false)
	note := must[*orderv1.DispatchNote](t)(r.Dispatch(r.grower(t, "alder"), ask))
	line := func(customer string, allocated int64, dispatch string, codes ...int) *orderv1.DispatchLine {
		l := &orderv1.DispatchLine{
			OrderId: customer + "-20261126", CustomerId: customer, ProductId: "white", PickLotId: whiteLot, Packs: int64(len(codes)), Allocated: allocated,
		}
		for _, code := range codes {
			l.PackIds = append(l.PackIds, fmt.Sprintf("%s-%04d", dispatch, code))
		}
		return l
	}
	const first, second = "alder-20261126-1", "alder-20261126-2"
	diff(t, "first note", &orderv1.DispatchNote{
		DispatchId: first, FarmId: "alder", DeliveryDate: tomorrow, MatchId: m.GetMatchId(), DispatchedAt: note.GetDispatchedAt(),
		Lines: []*orderv1.DispatchLine{line("anchor", 5, first, 1, 2, 3, 4, 5), line("bell", 3, first, 6)},
	}, note)
	diff(t, "sent again", note, must[*orderv1.DispatchNote](t)(r.Dispatch(r.grower(t, "alder"), ask)))
	_, err = r.Dispatch(r.office(t), &orderv1.DispatchRequest{RequestId: ids.New(), DeliveryDate: tomorrow, FarmId: "alder"})
	refused(t, err, fault.Precondition, "NOTHING_TO_SEND", "lot "+whiteLot)

	r.pick(t, "alder", "white", tomorrow, 20000, 2, false)
	rest := r.dispatch(t, "alder", tomorrow)
	diff(t, "second note", []*orderv1.DispatchLine{line("bell", 3, second, 1, 2)}, rest.GetLines())
	_, err = r.Dispatch(r.office(t), &orderv1.DispatchRequest{RequestId: ids.New(), DeliveryDate: tomorrow, FarmId: "alder"})
	refused(t, err, fault.Precondition, "NOTHING_TO_SEND", "lot "+whiteLot)

	diff(t, "events", []string{"dispatch.sent " + first, "dispatch.sent " + second}, r.subjects(t, before))
	for _, l := range rest.GetLines() {
		l.PackIds = nil
	}
	diff(t, "the event has no codes", &orderv1.Dispatched{Note: rest}, r.events(t)[before+1].Payload)
}

func TestDispatchNeedsAConfirmedMatchAndLotsThatMayLeave(t *testing.T) {
	t.Parallel()
	r := ready(t)
	send := func(farm string) error {
		_, err := r.Dispatch(r.office(t), &orderv1.DispatchRequest{RequestId: ids.New(), DeliveryDate: tomorrow, FarmId: farm})
		return err
	}
	refused(t, send("alder"), fault.Precondition, "NO_CONFIRMED_MATCH", "day "+tomorrow)
	r.confirm(t, r.matched(t, tomorrow))
	refused(t, send("birch"), fault.Precondition, "NOTHING_TO_SEND", "farm birch")
	r.pick(t, "alder", "white", tomorrow, 9000, 1, true)
	refused(t, send("alder"), fault.Precondition, "NOTHING_TO_SEND", "lot "+whiteLot)
}

// An order that was cancelled or cut down after the match gets nothing that it no longer wants.
func TestDispatchFollowsTheOrdersAsTheyAreNow(t *testing.T) {
	t.Parallel()
	r := ready(t)
	r.confirm(t, r.matched(t, tomorrow))
	r.pick(t, "alder", "white", tomorrow, 9000, 1, false)
	orders := must[*orderv1.ListOrdersResponse](t)(r.ListOrders(r.office(t), &orderv1.ListOrdersRequest{DeliveryDate: tomorrow})).GetOrders()
	must[*orderv1.Order](t)(r.CancelOrder(r.office(t), &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: orders[0].GetOrderId(), Etag: orders[0].GetEtag()}))
	must[*orderv1.Order](t)(r.ChangeOrder(r.office(t), &orderv1.ChangeOrderRequest{
		RequestId: ids.New(), OrderId: orders[1].GetOrderId(), Etag: orders[1].GetEtag(), Lines: []*orderv1.OrderLine{{ProductId: "white", Packs: 2}},
	}))
	note := r.dispatch(t, "alder", tomorrow)
	if len(note.GetLines()) != 1 || note.GetLines()[0].GetCustomerId() != "bell" || note.GetLines()[0].GetPacks() != 2 {
		t.Errorf("sent %v", note.GetLines())
	}
}

// What has left binds the orders and the matches that follow.
func TestWhatLeftStaysInOrdersAndMatches(t *testing.T) {
	t.Parallel()
	r := ready(t)
	stale := r.matched(t, tomorrow)
	r.confirm(t, stale)
	r.pick(t, "alder", "white", tomorrow, 6000, 1, false)
	r.dispatch(t, "alder", tomorrow) // five to anchor, one to bell

	order := must[*orderv1.ListOrdersResponse](t)(r.ListOrders(r.office(t), &orderv1.ListOrdersRequest{DeliveryDate: tomorrow, CustomerId: "anchor"})).GetOrders()[0]
	_, err := r.CancelOrder(r.office(t), &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: order.GetOrderId(), Etag: order.GetEtag()})
	refused(t, err, fault.Precondition, "PACKS_LEFT", "order anchor-20261126")
	less := &orderv1.ChangeOrderRequest{RequestId: ids.New(), OrderId: order.GetOrderId(), Etag: order.GetEtag(), Lines: []*orderv1.OrderLine{{ProductId: "white", Packs: 4}}}
	_, err = r.ChangeOrder(r.office(t), less)
	refused(t, err, fault.Precondition, "PACKS_LEFT", "order anchor-20261126")

	// A lot that is held after packs of it left keeps them in the next match.
	r.pick(t, "alder", "white", tomorrow, 6000, 2, true)
	birch := r.expect(t, "birch", "white", tomorrow, 3000, 1)
	m := r.confirm(t, r.matched(t, tomorrow))
	got := make(map[string]int64)
	for _, a := range m.GetAllocations() {
		got[a.GetPickLotId()+" "+a.GetCustomerId()] = a.GetPacks()
	}
	diff(t, "allocations", map[string]int64{whiteLot + " anchor": 5, whiteLot + " bell": 1, birch + " bell": 3}, got)
}

func TestConfirmDelivery(t *testing.T) {
	t.Parallel()
	r := ready(t)
	r.confirm(t, r.matched(t, tomorrow))
	before := len(r.events(t))
	ask := func(received int64, remark string) (*orderv1.Delivery, error) {
		return r.ConfirmDelivery(r.buyer(t, "bell"), &orderv1.ConfirmDeliveryRequest{RequestId: ids.New(), OrderId: "bell-20261126", ReceivedPacks: received, Remark: remark})
	}
	_, err := ask(1, "")
	refused(t, err, fault.Precondition, "NOTHING_DISPATCHED", "order bell-20261126")
	r.pick(t, "alder", "white", tomorrow, 7000, 1, false)
	r.dispatch(t, "alder", tomorrow) // two of three to bell
	_, err = ask(3, "")
	refused(t, err, fault.Invalid, "", "received_packs")
	first := must[*orderv1.Delivery](t)(ask(1, "one was crushed"))
	diff(t, "delivery", &orderv1.Delivery{
		OrderId: "bell-20261126", State: orderv1.DeliveryState_DELIVERY_STATE_CONFIRMED, DispatchedPacks: 2, ReceivedPacks: 1,
		Remark: "one was crushed", ConfirmedBy: "Chef", ConfirmedAt: first.GetConfirmedAt(),
	}, first)
	diff(t, "confirmed again with the same words", first, must[*orderv1.Delivery](t)(ask(1, "one was crushed")))
	_, err = ask(2, "")
	refused(t, err, fault.Precondition, "DELIVERY_CONFIRMED", "order bell-20261126")

	// A pack that leaves later opens it again.
	r.pick(t, "alder", "white", tomorrow, 8000, 2, false)
	r.dispatch(t, "alder", tomorrow)
	if second := must[*orderv1.Delivery](t)(ask(3, "")); second.GetDispatchedPacks() != 3 || second.GetReceivedPacks() != 3 {
		t.Errorf("second: %v", second)
	}
	diff(t, "events", []string{
		"dispatch.sent alder-20261126-1", "delivery.confirmed bell-20261126", "dispatch.sent alder-20261126-2", "delivery.confirmed bell-20261126",
	}, r.subjects(t, before))
	_, err = r.ConfirmDelivery(r.office(t), &orderv1.ConfirmDeliveryRequest{RequestId: ids.New(), OrderId: "nobody"})
	refused(t, err, fault.NotFound, "", "")
}

func TestTraceBackAndForward(t *testing.T) {
	t.Parallel()
	r := ready(t)
	r.confirm(t, r.matched(t, tomorrow))
	r.pick(t, "alder", "white", tomorrow, 6000, 1, false)
	r.dispatch(t, "alder", tomorrow)
	must[*orderv1.Delivery](t)(r.ConfirmDelivery(r.buyer(t, "anchor"), &orderv1.ConfirmDeliveryRequest{RequestId: ids.New(), OrderId: "anchor-20261126", ReceivedPacks: 5}))

	compost := &harvestv1.CompostTrace{CompostLotId: "ridge-7", YardId: "ridge", DeliveredKg: 9000}
	crop := &harvestv1.CropTrace{CropId: "alder-1-20261001", RoomId: "alder-1", FarmId: "alder", Compost: []*harvestv1.CompostTrace{compost}}
	lot := &harvestv1.PickLot{PickLotId: whiteLot, FarmId: "alder", CropId: crop.GetCropId(), NetGrams: 6000, CompostLotIds: []string{"ridge-7"}}
	r.harvest.back = map[string]*harvestv1.TraceBackResponse{whiteLot: {PickLot: lot, Crop: crop}}
	r.harvest.forward = map[string]*harvestv1.TraceForwardResponse{
		"ridge-7": {Compost: compost, Crops: []*harvestv1.CropTrace{crop}, PickLots: []*harvestv1.PickLot{lot, {PickLotId: "not sold yet"}}},
	}
	pack := func(n int, customer string, state orderv1.DeliveryState) *orderv1.Pack {
		return &orderv1.Pack{
			PackId: fmt.Sprintf("alder-20261126-1-%04d", n), PickLotId: whiteLot, ProductId: "white", FarmId: "alder",
			CustomerId: customer, OrderId: customer + "-20261126", DeliveryDate: tomorrow, State: state,
		}
	}
	const arrived, onTheWay = orderv1.DeliveryState_DELIVERY_STATE_CONFIRMED, orderv1.DeliveryState_DELIVERY_STATE_DISPATCHED
	want := &orderv1.TraceBackResponse{Pack: pack(6, "bell", onTheWay), PickLot: lot, Crop: crop}
	ask := &orderv1.TraceBackRequest{PackId: want.GetPack().GetPackId()}
	diff(t, "back", want, must[*orderv1.TraceBackResponse](t)(r.TraceBack(r.office(t), ask)))
	diff(t, "back, as its buyer", want, must[*orderv1.TraceBackResponse](t)(r.TraceBack(r.buyer(t, "bell"), ask)))
	diff(t, "back, as its grower", want, must[*orderv1.TraceBackResponse](t)(r.TraceBack(r.grower(t, "alder"), ask)))
	_, err := r.TraceBack(r.buyer(t, "anchor"), ask)
	refused(t, err, fault.Forbidden, "OTHER_CUSTOMER", "")
	_, err = r.TraceBack(r.grower(t, "birch"), ask)
	refused(t, err, fault.Forbidden, "OTHER_FARM", "")
	_, err = r.TraceBack(r.office(t), &orderv1.TraceBackRequest{PackId: "nobody"})
	refused(t, err, fault.NotFound, "", "")

	forward := must[*orderv1.TraceForwardResponse](t)(r.TraceForward(r.office(t), &orderv1.TraceForwardRequest{CompostLotId: "ridge-7"}))
	packs := []*orderv1.Pack{pack(6, "bell", onTheWay)}
	for n := 5; n > 0; n-- {
		packs = append([]*orderv1.Pack{pack(n, "anchor", arrived)}, packs...)
	}
	diff(t, "forward", &orderv1.TraceForwardResponse{
		Compost: compost, Crops: []*harvestv1.CropTrace{crop}, PickLots: []*harvestv1.PickLot{lot, {PickLotId: "not sold yet"}}, Packs: packs,
	}, forward)
	_, err = r.TraceForward(r.office(t), &orderv1.TraceForwardRequest{CompostLotId: "nowhere"})
	refused(t, err, fault.NotFound, "", "")
}
