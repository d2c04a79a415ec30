package server_test

import (
	"context"
	"strings"
	"testing"

	"google.golang.org/protobuf/types/known/timestamppb"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

func pin(id string, kind orderv1.PinKind, customer string) *orderv1.Pin {
	return &orderv1.Pin{
		PinId: id, DeliveryDate: tomorrow, Kind: kind, OrderId: customer + "-20261126", ProductId: "white", Reason: "a wedding",
	}
}

func (r *rig) pinned(t testing.TB, p *orderv1.Pin) *orderv1.PinAllocationResponse {
	t.Helper()
	return must[*orderv1.PinAllocationResponse](t)(r.PinAllocation(r.office(t), &orderv1.PinAllocationRequest{RequestId: ids.New(), Pin: p}))
}

func TestPinsAreKeptRespectedAndPriced(t *testing.T) {
	t.Parallel()
	r := ready(t) // 8 packs; anchor, of class 1, wants 5 and bell 6
	before := r.matched(t, tomorrow)
	if before.PinsCostMinor != nil {
		t.Errorf("no pins cost %d", before.GetPinsCostMinor())
	}
	packs := pin("wedding", orderv1.PinKind_PIN_KIND_PACKS, "bell")
	packs.Packs = 6
	resp := r.pinned(t, packs)
	packs.MadeBy, packs.MadeAt = "Office", timestamppb.New(noon)
	diff(t, "the pin and what it does", &orderv1.PinAllocationResponse{Pin: packs, Effects: []*orderv1.PinEffect{
		{OrderId: "anchor-20261126", CustomerId: "anchor", ProductId: "white", Without: 5, With: 2},
		{OrderId: "bell-20261126", CustomerId: "bell", ProductId: "white", Without: 3, With: 6},
	}}, resp)
	fewer := pin("fewer", orderv1.PinKind_PIN_KIND_PACKS, "anchor")
	if cost := r.pinned(t, fewer).GetCostMinor(); cost != 2*450 {
		t.Errorf("it costs %d", cost)
	}
	m := r.matched(t, tomorrow)
	if all := got(m); all["bell"] != 6 || all["anchor"] != 0 || m.GetPinsCostMinor() != 2*450 {
		t.Errorf("%v cost %d", all, m.GetPinsCostMinor())
	}
	if l := m.GetLines()[0]; l.GetReason() != orderv1.ShortReason_SHORT_REASON_BY_HAND {
		t.Errorf("%v", l)
	}
	list := must[*orderv1.ListPinsResponse](t)(r.ListPins(r.office(t), &orderv1.ListPinsRequest{DeliveryDate: tomorrow})).GetPins()
	if len(list) != 2 || list[1].GetPinId() != "wedding" {
		t.Errorf("pins %v", list)
	}
	for _, p := range list {
		must[*orderv1.RemovePinResponse](t)(r.RemovePin(r.office(t), &orderv1.RemovePinRequest{RequestId: ids.New(), PinId: p.GetPinId()}))
	}
	diff(t, "without them", before.GetLines(), r.matched(t, tomorrow).GetLines())
	_, err := r.RemovePin(r.office(t), &orderv1.RemovePinRequest{RequestId: ids.New(), PinId: "wedding"})
	refused(t, err, fault.NotFound, "", "")
}

// A pin that cannot be is refused with its line named, and the confirmed match stays as it was.
func TestPinsThatCannotBe(t *testing.T) {
	t.Parallel()
	r := ready(t)
	stood := r.confirm(t, r.matched(t, tomorrow))
	known := pin("known", orderv1.PinKind_PIN_KIND_PACKS, "bell")
	known.Packs = 5
	r.pinned(t, known)
	cases := []struct {
		name  string
		spoil func(p *orderv1.Pin)
		kind  fault.Kind
		field string
	}{
		{"more than there is", func(p *orderv1.Pin) { p.Packs = 4 }, fault.Precondition, "line anchor-20261126/white"},
		{"more than ordered", func(p *orderv1.Pin) { p.Packs = 6 }, fault.Precondition, "line anchor-20261126/white"},
		{"a second total", func(p *orderv1.Pin) { p.OrderId = "bell-20261126" }, fault.Precondition, "line bell-20261126/white"},
		{"an unknown lot", func(p *orderv1.Pin) { p.PickLotId = "z" }, fault.Precondition, "line anchor-20261126/white"},
		{"an unknown product", func(p *orderv1.Pin) { p.ProductId = "gold" }, fault.Precondition, "line anchor-20261126/gold"},
		{"a farm and a lot", func(p *orderv1.Pin) { p.PickLotId, p.FarmId = "z", "alder" }, fault.Precondition, "line anchor-20261126/white"},
		{"an unknown order", func(p *orderv1.Pin) { p.OrderId = "nobody" }, fault.NotFound, ""},
		{"another day", func(p *orderv1.Pin) { p.DeliveryDate = today }, fault.Invalid, "pin.delivery_date"},
		{"no such day", func(p *orderv1.Pin) { p.DeliveryDate = "2026-02-30" }, fault.Invalid, "pin.delivery_date"},
		{"a name that is taken", func(p *orderv1.Pin) { p.PinId = "known" }, fault.Exists, "pin.pin_id"},
		{"no reason", func(p *orderv1.Pin) { p.Reason = "" }, fault.Invalid, "pin.reason"},
		{"negative", func(p *orderv1.Pin) { p.Packs = -1 }, fault.Invalid, "pin.packs"},
	}
	for _, c := range cases {
		p := pin("new", orderv1.PinKind_PIN_KIND_PACKS, "anchor")
		c.spoil(p)
		_, err := r.PinAllocation(r.office(t), &orderv1.PinAllocationRequest{RequestId: ids.New(), Pin: p})
		t.Log(c.name)
		refused(t, err, c.kind, "", c.field)
	}
	// The supply falls below what is pinned: the day cannot be matched, and what stands stays.
	r.expect(t, "alder", "white", tomorrow, 3000, 2)
	_, _, err := r.run(t, r.office(t), &orderv1.RunMatchRequest{RequestId: ids.New(), DeliveryDate: tomorrow})
	refused(t, err, fault.Precondition, "DAY_MAKES_NO_SENSE", "line bell-20261126/white")
	diff(t, "the confirmed match", stood, must[*orderv1.Match](t)(r.GetMatch(r.office(t), &orderv1.GetMatchRequest{DeliveryDate: tomorrow})))
}

func TestExplainLine(t *testing.T) {
	t.Parallel()
	r := ready(t)
	m := r.matched(t, tomorrow)
	ask := &orderv1.ExplainLineRequest{MatchId: m.GetMatchId(), OrderId: "bell-20261126", ProductId: "white"}
	resp := must[*orderv1.ExplainLineResponse](t)(r.ExplainLine(r.buyer(t, "bell"), ask))
	diff(t, "explained", &orderv1.ExplainLineResponse{Line: m.GetLines()[1], Product: m.GetProducts()[0], Allocations: m.GetAllocations()[1:]}, resp)
	if resp.GetProduct().GetMoreWorthMinor() != 450 || !strings.Contains(resp.GetLine().GetExplanation(), "5 went to customers of a higher class") {
		t.Errorf("%v", resp)
	}
	for kind, ask := range map[fault.Kind]func(context.Context) error{
		fault.Forbidden: call(r.ExplainLine, &orderv1.ExplainLineRequest{MatchId: m.GetMatchId(), OrderId: "anchor-20261126", ProductId: "white"}),
		fault.NotFound:  call(r.ExplainLine, &orderv1.ExplainLineRequest{MatchId: m.GetMatchId(), OrderId: "bell-20261126", ProductId: "oyster"}),
	} {
		if err := ask(r.buyer(t, "bell")); fault.KindOf(err) != kind {
			t.Errorf("%v, want %s", err, kind)
		}
	}
}

// In the morning a farm has less and an order grew: only what must change does, shown by farm and
// by customer, and what stands stands until the new match is confirmed.
func TestRebalance(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	ctx, ask := r.office(t), func() *orderv1.RebalanceRequest {
		return &orderv1.RebalanceRequest{RequestId: ids.New(), DeliveryDate: tomorrow}
	}
	_, err := r.rebalance(t, ctx, ask())
	refused(t, err, fault.Precondition, "NO_CONFIRMED_MATCH", "day "+tomorrow)
	r.place(t, wants("anchor", tomorrow, "white", 5), wants("bell", tomorrow, "white", 6))
	r.expect(t, "alder", "white", tomorrow, 8000, 1)
	r.expect(t, "birch", "white", tomorrow, 8000, 1)
	stood := r.confirm(t, r.matched(t, tomorrow))
	calm, err := r.rebalance(t, ctx, ask())
	if err != nil || len(calm.GetFarms())+len(calm.GetCustomers()) > 0 {
		t.Fatalf("nothing changed, and yet %v (%v)", calm, err)
	}
	alder := got(stood)["alder"]
	r.pick(t, "alder", "white", tomorrow, (alder-1)*1000, 1, false)
	req := ask()
	resp, err := r.rebalance(t, ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	m := resp.GetMatch()
	if m.GetRebalancedFrom() != stood.GetMatchId() || m.GetState() != orderv1.MatchState_MATCH_STATE_PROPOSED || got(m)["alder"] != alder-1 || got(m)["bell"]+got(m)["anchor"] != 11 {
		t.Errorf("%v", m)
	}
	farms, moved := resp.GetFarms(), int64(0)
	if len(farms) != 2 || farms[0].GetId() != "alder" || farms[1].GetId() != "birch" || len(resp.GetCustomers()) == 0 {
		t.Fatalf("changes %v", resp)
	}
	for _, c := range farms[1].GetChanges() {
		moved += c.GetAfter() - c.GetBefore()
	}
	if moved != 1 {
		t.Errorf("%d packs move to birch, want 1", moved)
	}
	again, err := r.rebalance(t, ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	diff(t, "sent again", resp, again)
	day := &orderv1.GetMatchRequest{DeliveryDate: tomorrow}
	diff(t, "what stands", stood, must[*orderv1.Match](t)(r.GetMatch(ctx, day)))
	confirmed := r.confirm(t, m)
	if got(confirmed)["alder"] != alder-1 {
		t.Errorf("confirmed %v", confirmed)
	}
}
