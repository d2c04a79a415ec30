package server_test

import (
	"testing"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

const (
	missing   = orderv1.ReceiptProblemKind_RECEIPT_PROBLEM_KIND_MISSING
	damaged   = orderv1.ReceiptProblemKind_RECEIPT_PROBLEM_KIND_DAMAGED
	something = orderv1.ReceiptProblemKind_RECEIPT_PROBLEM_KIND_OTHER
)

// sent has two farms send anchor 5 packs of white each and bell 2 of oyster, and returns the lots.
func (r *rig) sent(t *testing.T) (alder, birch string) {
	t.Helper()
	r.settle(t)
	r.place(t, wants("anchor", tomorrow, "white", 10), wants("bell", tomorrow, "oyster", 2))
	alder = r.pick(t, "alder", "white", tomorrow, 5000, 1, false)
	birch = r.pick(t, "birch", "white", tomorrow, 5000, 1, false)
	r.pick(t, "birch", "oyster", tomorrow, 2000, 1, false)
	r.confirm(t, r.matched(t, tomorrow))
	r.dispatch(t, "alder", tomorrow)
	r.dispatch(t, "birch", tomorrow)
	return alder, birch
}

// What a buyer finds wrong reaches the office, and each farm as far as it is about its packs.
func TestWhatBuyersFindWrongReachesOfficeAndFarm(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	alder, birch := r.sent(t)
	buyer, order := r.buyer(t, "anchor"), "anchor-20261126"
	confirm := func(received int64, problems ...*orderv1.ReceiptProblem) error {
		return call(r.ConfirmDelivery, &orderv1.ConfirmDeliveryRequest{RequestId: ids.New(), OrderId: order, ReceivedPacks: received, Problems: problems})(buyer)
	}
	problem := func(kind orderv1.ReceiptProblemKind, packs int64, lot string) *orderv1.ReceiptProblem {
		return &orderv1.ReceiptProblem{ProductId: "white", PickLotId: lot, Kind: kind, Packs: packs, Remark: "as we found it"}
	}
	unexplained, unknown := problem(something, 1, ""), problem(damaged, 1, "")
	unexplained.Remark, unknown.ProductId = "", "oyster"
	for name, test := range map[string]struct {
		err   error
		field string
	}{
		"not of the delivery":       {confirm(9, unknown), "problems[0].product_id"},
		"not of a lot of it":        {confirm(9, problem(damaged, 1, "alder-1-oyster")), "problems[0].pick_lot_id"},
		"more missing than is":      {confirm(9, problem(missing, 2, "")), "problems[0].packs"},
		"more than the lot sent":    {confirm(9, problem(damaged, 6, alder)), "problems[0].packs"},
		"more than was received":    {confirm(1, problem(damaged, 1, ""), problem(something, 1, "")), "problems[1].packs"},
		"each pack in one problem":  {confirm(9, problem(damaged, 3, alder), problem(something, 3, alder)), "problems[1].packs"},
		"something without a word":  {confirm(9, unexplained), "problems[0].remark"},
		"a kind that is not stated": {confirm(9, problem(0, 1, "")), "problems[0].kind"},
	} {
		t.Run(name, func(t *testing.T) { refused(t, test.err, fault.Invalid, "", test.field) })
	}
	list := func(req *orderv1.ListDeliveriesRequest, as string) []*orderv1.OrderDelivery {
		t.Helper()
		req.FromDate = tomorrow
		ctx := r.office(t)
		switch as {
		case "anchor", "bell":
			ctx = r.buyer(t, as)
		case "alder", "birch":
			ctx = r.grower(t, as)
		}
		return must[*orderv1.ListDeliveriesResponse](t)(r.ListDeliveries(ctx, req)).GetDeliveries()
	}
	if on := list(&orderv1.ListDeliveriesRequest{}, "anchor"); len(on) != 1 || on[0].GetState() != orderv1.DeliveryState_DELIVERY_STATE_DISPATCHED || on[0].GetReceipt() != nil {
		t.Fatalf("on the way: %v", on)
	}
	if err := confirm(9, problem(damaged, 2, birch), problem(missing, 1, "")); err != nil {
		t.Fatal(err)
	}
	if err := confirm(9, problem(missing, 1, ""), problem(damaged, 2, birch)); err != nil {
		t.Errorf("the same again in another order: %v", err)
	}
	refused(t, confirm(9), fault.Precondition, "DELIVERY_CONFIRMED", "order "+order)

	said := []*orderv1.ReceiptProblem{problem(missing, 1, ""), problem(damaged, 2, birch)}
	all := list(&orderv1.ListDeliveriesRequest{}, "office")
	if len(all) != 2 || all[1].GetCustomerId() != "bell" || all[1].GetReceipt() != nil {
		t.Fatalf("the office sees %v", all)
	}
	got := all[0]
	diff(t, "problems that the office sees", said, got.GetProblems())
	if got.GetDispatchedPacks() != 10 || len(got.GetLines()) != 2 || got.GetReceipt().GetReceivedPacks() != 9 || got.GetState() != orderv1.DeliveryState_DELIVERY_STATE_CONFIRMED {
		t.Errorf("the office sees %v", got)
	}
	line := got.GetLines()[0]
	if line.GetPickLotId() != alder || line.GetFarmId() != "alder" || line.GetPacks() != 5 || line.GetPackedProductId() != "white" || line.GetDispatchedAt().AsTime() != noon {
		t.Errorf("the first line is %v", line)
	}
	diff(t, "what the buyer sees", all[:1], list(&orderv1.ListDeliveriesRequest{}, "anchor"))

	own := list(&orderv1.ListDeliveriesRequest{}, "alder")
	if len(own) != 1 || own[0].GetDispatchedPacks() != 5 || len(own[0].GetLines()) != 1 || own[0].GetReceipt() != nil {
		t.Errorf("alder sees %v", own)
	}
	diff(t, "problems that alder sees", said[:1], own[0].GetProblems())
	if theirs := list(&orderv1.ListDeliveriesRequest{}, "birch"); len(theirs) != 2 {
		t.Errorf("birch sees %v", theirs)
	} else {
		diff(t, "problems that birch sees", said, theirs[0].GetProblems())
	}

	events := r.events(t)
	diff(t, "what is told", &orderv1.DeliveryConfirmed{Delivery: got.GetReceipt(), Problems: said, CustomerId: "anchor", DeliveryDate: tomorrow}, events[len(events)-1].Payload)
}

func TestDeliveriesOfNoDaysAreRefused(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	for name, req := range map[string]*orderv1.ListDeliveriesRequest{
		"from_date":  {FromDate: "2026-02-30"},
		"until_date": {FromDate: tomorrow, UntilDate: today},
	} {
		refused(t, call(r.ListDeliveries, req)(r.office(t)), fault.Invalid, "", name)
	}
	refused(t, call(r.ListDeliveries, &orderv1.ListDeliveriesRequest{FromDate: today, UntilDate: "2027-02-26"})(r.office(t)), fault.Invalid, "", "until_date")
}
