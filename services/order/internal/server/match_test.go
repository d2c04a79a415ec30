package server_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

func TestRunMatchStreamsItsStepsAndStoresTheMatch(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	r.place(t, wants("bell", tomorrow, "white", 6), wants("anchor", tomorrow, "white", 5), wants("crown", tomorrow, "oyster", 1))
	lot := r.expect(t, "alder", "white", tomorrow, 8900, 3)
	req := &orderv1.RunMatchRequest{RequestId: ids.New(), DeliveryDate: tomorrow}
	steps, m, err := r.run(t, r.office(t), req)
	if err != nil {
		t.Fatal(err)
	}
	diff(t, "steps", []orderv1.MatchStep{
		orderv1.MatchStep_MATCH_STEP_LOADING, orderv1.MatchStep_MATCH_STEP_SOLVING,
		orderv1.MatchStep_MATCH_STEP_VERIFYING, orderv1.MatchStep_MATCH_STEP_DONE,
	}, steps)
	want := &orderv1.Match{
		MatchId: "20261126-1", DeliveryDate: tomorrow, State: orderv1.MatchState_MATCH_STATE_PROPOSED, RunBy: "Office", Etag: m.GetEtag(),
		ValueMinor: 8 * 450,
		Products: []*orderv1.MatchProduct{
			{ProductId: "oyster", Ordered: 1, MoreWorthMinor: 450, WorthMinorPerKg: 450},
			{
				ProductId: "white", Offered: 8, Ordered: 11, Matched: 8, Given: 8, Likely: 8, Said: 8,
				MoreWorthMinor: 450, FewerCostMinor: proto.Int64(450), WorthMinorPerKg: 450,
			},
		},
		Lines: []*orderv1.MatchLine{
			{OrderId: "anchor-20261126", CustomerId: "anchor", ProductId: "white", Ordered: 5, Matched: 5, Farms: 1},
			{
				OrderId: "bell-20261126", CustomerId: "bell", ProductId: "white", Ordered: 6, Matched: 3, Reason: orderv1.ShortReason_SHORT_REASON_HIGHER_CLASS,
				Farms: 1, Binds: []*orderv1.Bind{{Reason: orderv1.ShortReason_SHORT_REASON_HIGHER_CLASS, Packs: 5}},
				Explanation: "6 packs ordered, 3 matched: the farms have only 8 packs of Product white for 11 ordered, 5 went to customers of a higher class than 2. One more pack of Product white would be worth 450 minor units, and this order would get it.",
			},
			{
				OrderId: "crown-20261126", CustomerId: "crown", ProductId: "oyster", Ordered: 1, Reason: orderv1.ShortReason_SHORT_REASON_NOT_OFFERED,
				Binds:       []*orderv1.Bind{{Reason: orderv1.ShortReason_SHORT_REASON_NOT_OFFERED, Packs: 1}},
				Explanation: "No farm has Product oyster for this day. One more pack of Product oyster would be worth 450 minor units, and this order would get it.",
			},
		},
		Allocations: []*orderv1.Allocation{
			{OrderId: "anchor-20261126", CustomerId: "anchor", ProductId: "white", PickLotId: lot, FarmId: "alder", RoomId: "alder-1", Packs: 5, PackedProductId: "white"},
			{OrderId: "bell-20261126", CustomerId: "bell", ProductId: "white", PickLotId: lot, FarmId: "alder", RoomId: "alder-1", Packs: 3, PackedProductId: "white"},
		},
		Farms: []*orderv1.MatchFarm{{FarmId: "alder", Offered: 8, Matched: 8}},
	}
	if d := cmp.Diff(want, m, protocmp.Transform(), protocmp.IgnoreFields(&orderv1.Match{}, "run_at", "supply_as_of", "proof")); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	if p := m.GetProof(); !p.GetVerified() || p.GetNodes() != 10 || p.GetArcs() != 11 {
		t.Errorf("proof: %v", p)
	}
	if at := m.GetSupplyAsOf().AsTime(); !at.Equal(noon.Add(3*time.Minute)) || !m.GetRunAt().AsTime().Equal(noon) {
		t.Errorf("supply as of %s, run at %s", at, m.GetRunAt().AsTime())
	}
	diff(t, "read by id", m, must[*orderv1.Match](t)(r.GetMatch(r.office(t), &orderv1.GetMatchRequest{MatchId: m.GetMatchId()})))

	// Sent again, the request gets the first answer; a new one makes a new match.
	_, again, err := r.run(t, r.office(t), req)
	if err != nil {
		t.Fatal(err)
	}
	diff(t, "sent again", m, again)
	second := r.matched(t, tomorrow)
	if second.GetMatchId() != "20261126-2" {
		t.Errorf("the second is %q", second.GetMatchId())
	}
	newest := must[*orderv1.Match](t)(r.GetMatch(r.office(t), &orderv1.GetMatchRequest{DeliveryDate: tomorrow}))
	diff(t, "newest of the day", second, newest)
}

// What counts of a lot, and from when.
func TestWhatCountsAsSupply(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name   string
		supply func(t *testing.T, r *rig)
		packs  int64
	}{
		{"the likely figure of the day", func(t *testing.T, r *rig) { r.expect(t, "alder", "white", tomorrow, 5999, 1) }, 5},
		{"what was picked, once something was", func(t *testing.T, r *rig) {
			r.expect(t, "alder", "white", tomorrow, 9000, 1)
			r.pick(t, "alder", "white", tomorrow, 2000, 1, false)
		}, 2},
		{"a pick that nobody expected", func(t *testing.T, r *rig) { r.pick(t, "alder", "white", tomorrow, 3000, 1, false) }, 3},
		{"an older lot that was picked", func(t *testing.T, r *rig) { r.pick(t, "alder", "white", today, 4000, 1, false) }, 4},
		{"an older expectation is not stock", func(t *testing.T, r *rig) { r.expect(t, "alder", "white", today, 4000, 1) }, 0},
		{"the last day of its life", func(t *testing.T, r *rig) { r.pick(t, "alder", "white", yesterday, 4000, 1, false) }, 4},
		{"past its life", func(t *testing.T, r *rig) { r.pick(t, "alder", "white", "2026-11-23", 4000, 1, false) }, 0},
		{"held", func(t *testing.T, r *rig) { r.pick(t, "alder", "white", tomorrow, 4000, 1, true) }, 0},
		{"freed again", func(t *testing.T, r *rig) {
			r.pick(t, "alder", "white", tomorrow, 4000, 1, true)
			r.pick(t, "alder", "white", tomorrow, 4000, 2, false)
		}, 4},
		{"what harvest uses of a push", func(t *testing.T, r *rig) {
			r.keepExpected(t, store.Expected{LowGrams: 8000, LikelyGrams: 9000, HighGrams: 9500, Used: &store.Used{LowGrams: 5000, LikelyGrams: 6500, HighGrams: 7000, At: noon}})
		}, 6},
		{"on the last day that it keeps where it is", func(t *testing.T, r *rig) {
			r.keepLot(t, store.PickLot{Day: today, NetGrams: 4000, StoreCelsius: proto.Float64(4), KeepsUntil: tomorrow})
		}, 4},
		{"held too warm to keep", func(t *testing.T, r *rig) {
			r.keepLot(t, store.PickLot{Day: today, NetGrams: 4000, StoreCelsius: proto.Float64(19), KeepsUntil: today})
		}, 0},
		{"a later day", func(t *testing.T, r *rig) { r.expect(t, "alder", "white", "2026-11-27", 4000, 1) }, 0},
		{"less than a pack", func(t *testing.T, r *rig) { r.pick(t, "alder", "white", tomorrow, 999, 1, false) }, 0},
		{"a product that is not in the catalogue", func(t *testing.T, r *rig) { r.expect(t, "alder", "gold", tomorrow, 5000, 1) }, 0},
		{"what another day's confirmed match has", func(t *testing.T, r *rig) {
			r.pick(t, "alder", "white", today, 7000, 1, false)
			r.place(t, wants("bell", today, "white", 5))
			r.confirm(t, r.matched(t, today))
		}, 2},
		{"what another day's proposal has is free", func(t *testing.T, r *rig) {
			r.pick(t, "alder", "white", today, 7000, 1, false)
			r.place(t, wants("bell", today, "white", 5))
			r.matched(t, today)
		}, 7},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			r.settle(t)
			c.supply(t, r)
			r.place(t, wants("anchor", tomorrow, "white", 100))
			m := r.matched(t, tomorrow)
			if got := m.GetLines()[0].GetMatched(); got != c.packs {
				t.Errorf("%d packs, want %d: %s", got, c.packs, m.GetLines()[0].GetExplanation())
			}
		})
	}
}

// keepExpected has alder's room 1 expect white mushrooms tomorrow.
func (r *rig) keepExpected(t testing.TB, e store.Expected) {
	t.Helper()
	e.Lot, e.Farm, e.Room, e.Product, e.Day = "alder-1-white-"+tomorrow, "alder", "alder-1", "white", tomorrow
	e.Version, e.PushedBy, e.PushedAt = 1, "Grower", noon
	r.in(t, func(ctx context.Context, tx pgx.Tx) error { return store.KeepExpected(ctx, tx, e, noon) })
}

// keepLot has alder's room 1 have picked white mushrooms.
func (r *rig) keepLot(t testing.TB, l store.PickLot) {
	t.Helper()
	l.Lot, l.Farm, l.Room, l.Product, l.Picked, l.Version = "alder-1-white-"+l.Day, "alder", "alder-1", "white", true, 1
	r.in(t, func(ctx context.Context, tx pgx.Tx) error { return store.KeepPickLot(ctx, tx, l, noon) })
}

// What growers said stands beside what is used of it.
func TestWhatWasSaidStandsBesideWhatIsUsed(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	r.keepExpected(t, store.Expected{LowGrams: 8000, LikelyGrams: 9000, HighGrams: 9500, Used: &store.Used{LowGrams: 5000, LikelyGrams: 6500, HighGrams: 7000, At: noon}})
	r.place(t, wants("anchor", tomorrow, "white", 100))
	p := r.matched(t, tomorrow).GetProducts()[0]
	if p.GetSaid() != 9 || p.GetLikely() != 6 || p.GetOffered() != 6 {
		t.Errorf("said 9, used and offered 6: %v", p)
	}
}

// Cancelled orders want nothing.
func TestCancelledOrdersAreLeftOut(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.settle(t)
	o := r.place(t, wants("anchor", tomorrow, "white", 5))[0]
	must[*orderv1.Order](t)(r.CancelOrder(r.office(t), &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: o.GetOrderId(), Etag: o.GetEtag()}))
	r.expect(t, "alder", "white", tomorrow, 9000, 1)
	m := r.matched(t, tomorrow)
	if len(m.GetLines()) != 0 || len(m.GetAllocations()) != 0 {
		t.Errorf("%v", m)
	}
	diff(t, "left over", []*orderv1.MatchProduct{{
		ProductId: "white", Offered: 9, Left: 9, Likely: 9, Said: 9, FewerCostMinor: new(int64),
		LeftOver: "9 packs of Product white left over: nobody ordered more of it, and nothing of its kind is short.",
	}}, m.GetProducts())
}

func TestADayWithNothingIsMatchedToo(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	m := r.matched(t, tomorrow)
	if m.GetMatchId() != "20261126-1" || m.GetSupplyAsOf() != nil || !m.GetProof().GetVerified() {
		t.Errorf("%v", m)
	}
}

func TestMatchRefusals(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	_, _, err := r.run(t, r.office(t), &orderv1.RunMatchRequest{RequestId: ids.New(), DeliveryDate: "2026-02-30"})
	refused(t, err, fault.Invalid, "", "delivery_date")
	for _, c := range []struct {
		req   *orderv1.GetMatchRequest
		kind  fault.Kind
		field string
	}{
		{&orderv1.GetMatchRequest{}, fault.Invalid, "match_id"},
		{&orderv1.GetMatchRequest{MatchId: "20261126-1", DeliveryDate: tomorrow}, fault.Invalid, "match_id"},
		{&orderv1.GetMatchRequest{DeliveryDate: "2026-02-30"}, fault.Invalid, "delivery_date"},
		{&orderv1.GetMatchRequest{DeliveryDate: tomorrow}, fault.NotFound, ""},
		{&orderv1.GetMatchRequest{MatchId: "20261126-1"}, fault.NotFound, ""},
	} {
		_, err := r.GetMatch(r.office(t), c.req)
		refused(t, err, c.kind, "", c.field)
	}
}
