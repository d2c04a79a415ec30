package server_test

import (
	"testing"

	"google.golang.org/protobuf/types/known/timestamppb"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/ids"
)

// First an estimate, then the match that was run, then the one that was confirmed; a line that was
// changed since is estimated again. A buyer sees the own lines.
func TestWhatIsLikelyToBeShort(t *testing.T) {
	t.Parallel()
	const (
		estimated, proposed = orderv1.LikelyBasis_LIKELY_BASIS_ESTIMATED, orderv1.LikelyBasis_LIKELY_BASIS_PROPOSED
		confirmed           = orderv1.LikelyBasis_LIKELY_BASIS_CONFIRMED
		notEnough           = orderv1.LikelyReason_LIKELY_REASON_NOT_ENOUGH
	)
	r := newRig(t)
	r.settle(t)
	placed := r.place(t, wants("anchor", tomorrow, "white", 6), wants("bell", tomorrow, "white", 4), wants("crown", tomorrow, "oyster", 2))
	r.expect(t, "alder", "white", tomorrow, 8000, 1)
	line := func(customer, product string, ordered, likely int64, reason orderv1.LikelyReason, basis orderv1.LikelyBasis) *orderv1.LikelyLine {
		return &orderv1.LikelyLine{OrderId: customer + "-20261126", CustomerId: customer, ProductId: product, Ordered: ordered, Likely: likely, Reason: reason, Basis: basis}
	}
	outlook := func(as string) *orderv1.DayOutlook {
		ctx := r.office(t)
		if as != "" {
			ctx = r.buyer(t, as)
		}
		return must[*orderv1.DayOutlook](t)(r.GetDayOutlook(ctx, &orderv1.GetDayOutlookRequest{DeliveryDate: tomorrow}))
	}
	all := outlook("")
	diff(t, "the estimate", []*orderv1.LikelyLine{
		line("anchor", "white", 6, 6, 0, estimated), line("bell", "white", 4, 2, notEnough, estimated),
		line("crown", "oyster", 2, 0, orderv1.LikelyReason_LIKELY_REASON_NOT_OFFERED, estimated),
	}, all.GetLines())
	diff(t, "what a buyer sees", &orderv1.DayOutlook{DeliveryDate: tomorrow, Lines: all.GetLines()[1:2], SupplyAsOf: all.GetSupplyAsOf()}, outlook("bell"))
	if got := all.GetSupplyAsOf(); got.AsTime() != noon.Add(60e9) {
		t.Errorf("supply as of %v", got)
	}

	m := r.matched(t, tomorrow)
	diff(t, "by the match that was run", []*orderv1.LikelyLine{line("bell", "white", 4, 2, notEnough, proposed)}, outlook("bell").GetLines())
	r.confirm(t, m)
	diff(t, "by the confirmed match", []*orderv1.LikelyLine{line("bell", "white", 4, 2, notEnough, confirmed)}, outlook("bell").GetLines())
	must[*orderv1.Order](t)(r.ChangeOrder(r.office(t), &orderv1.ChangeOrderRequest{
		RequestId: ids.New(), OrderId: placed[1].GetOrderId(), Lines: []*orderv1.OrderLine{{ProductId: "white", Packs: 2}}, Etag: placed[1].GetEtag(),
	}))
	diff(t, "changed since", []*orderv1.LikelyLine{line("bell", "white", 2, 2, 0, estimated)}, outlook("bell").GetLines())
	must[*orderv1.Order](t)(r.CancelOrder(r.office(t), &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: placed[2].GetOrderId(), Etag: placed[2].GetEtag()}))
	diff(t, "cancelled since", &orderv1.DayOutlook{DeliveryDate: tomorrow, SupplyAsOf: timestamppb.New(all.GetSupplyAsOf().AsTime())}, outlook("crown"))
}
