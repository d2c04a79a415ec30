package server_test

import (
	"strings"
	"sync"
	"testing"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
)

// ready is a rig with two orders and a farm that expects eight packs.
func ready(t testing.TB) *rig {
	t.Helper()
	r := newRig(t)
	r.settle(t)
	r.place(t, wants("anchor", tomorrow, "white", 5), wants("bell", tomorrow, "white", 6))
	r.expect(t, "alder", "white", tomorrow, 8000, 1)
	return r
}

func confirming(m *orderv1.Match) *orderv1.ConfirmMatchRequest {
	return &orderv1.ConfirmMatchRequest{RequestId: ids.New(), MatchId: m.GetMatchId(), Etag: m.GetEtag()}
}

func TestConfirmedMatchReplacesTheOneBefore(t *testing.T) {
	t.Parallel()
	r := ready(t)
	before := len(r.events(t))
	first := r.confirm(t, r.matched(t, tomorrow))
	if first.GetState() != orderv1.MatchState_MATCH_STATE_CONFIRMED || first.GetConfirmedBy() != "Office" || !first.GetConfirmedAt().AsTime().Equal(noon) {
		t.Errorf("confirmed: %v", first)
	}
	diff(t, "confirmed once more", first, r.confirm(t, first))

	second := r.matched(t, tomorrow)
	day := &orderv1.GetMatchRequest{DeliveryDate: tomorrow}
	diff(t, "the confirmed one stands before proposals", first, must[*orderv1.Match](t)(r.GetMatch(r.office(t), day)))
	second = r.confirm(t, second)
	diff(t, "the day's match", second, must[*orderv1.Match](t)(r.GetMatch(r.office(t), day)))
	old := must[*orderv1.Match](t)(r.GetMatch(r.office(t), &orderv1.GetMatchRequest{MatchId: first.GetMatchId()}))
	if old.GetState() != orderv1.MatchState_MATCH_STATE_REPLACED {
		t.Errorf("the first is %s", old.GetState())
	}
	_, err := r.ConfirmMatch(r.office(t), confirming(old))
	refused(t, err, fault.Precondition, "MATCH_REPLACED", "match "+old.GetMatchId())

	diff(t, "events", []string{"match.confirmed 20261126-1", "match.confirmed 20261126-2"}, r.subjects(t, before))
	told := second
	told.Lines, told.Allocations = nil, nil
	diff(t, "the event", &orderv1.MatchConfirmed{Match: told}, r.events(t)[before+1].Payload)
}

// Of two coordinators who confirm at once, one wins; the other is told who and what.
func TestOfTwoAtOnceOneWins(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name     string
		proposal func(t *testing.T, r *rig) (mine, yours *orderv1.Match)
	}{
		{"the same match", func(t *testing.T, r *rig) (mine, yours *orderv1.Match) { m := r.matched(t, tomorrow); return m, m }},
		{"two matches of a day", func(t *testing.T, r *rig) (mine, yours *orderv1.Match) {
			return r.matched(t, tomorrow), r.matched(t, tomorrow)
		}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := ready(t)
			mine, yours := c.proposal(t, r)
			names, proposals := []string{"Ada", "Bo"}, []*orderv1.Match{mine, yours}
			answers, errs := make([]*orderv1.Match, 2), make([]error, 2)
			var both sync.WaitGroup
			for i := range names {
				both.Go(func() { answers[i], errs[i] = r.ConfirmMatch(r.coordinator(t, names[i]), confirming(proposals[i])) })
			}
			both.Wait()
			winner, loser := 0, 1
			if errs[0] != nil {
				winner, loser = 1, 0
			}
			if errs[winner] != nil {
				t.Fatalf("both lose: %v and %v", errs[0], errs[1])
			}
			f := refused(t, errs[loser], fault.Stale, "MATCH_CONFIRMED_MEANWHILE", "etag")
			if f.Meta["changedBy"] != names[winner] || f.Meta["confirmedMatch"] != answers[winner].GetMatchId() || !strings.Contains(f.Message, names[winner]) {
				t.Errorf("%q with %v does not say that %s confirmed %s", f.Message, f.Meta, names[winner], answers[winner].GetMatchId())
			}
		})
	}
}

// Whoever has read the confirmation may replace it.
func TestWhoHasReadTheConfirmationMayReplaceIt(t *testing.T) {
	t.Parallel()
	r := ready(t)
	mine, yours := r.matched(t, tomorrow), r.matched(t, tomorrow)
	r.confirm(t, mine)
	_, err := r.ConfirmMatch(r.office(t), confirming(yours))
	refused(t, err, fault.Stale, "MATCH_CONFIRMED_MEANWHILE", "etag")
	yours = must[*orderv1.Match](t)(r.GetMatch(r.office(t), &orderv1.GetMatchRequest{MatchId: yours.GetMatchId()}))
	if got := r.confirm(t, yours); got.GetState() != orderv1.MatchState_MATCH_STATE_CONFIRMED {
		t.Errorf("state %s", got.GetState())
	}
}

// A match that orders or supply have left behind is not confirmed; other changes do not matter.
func TestConfirmingAfterSomethingChanged(t *testing.T) {
	t.Parallel()
	changeOrder := func(t *testing.T, r *rig, packs int64) {
		o := must[*orderv1.ListOrdersResponse](t)(r.ListOrders(r.office(t), &orderv1.ListOrdersRequest{DeliveryDate: tomorrow, CustomerId: "bell"})).GetOrders()[0]
		must[*orderv1.Order](t)(r.ChangeOrder(r.buyer(t, "bell"), &orderv1.ChangeOrderRequest{
			RequestId: ids.New(), OrderId: o.GetOrderId(), Etag: o.GetEtag(), Lines: []*orderv1.OrderLine{{ProductId: "white", Packs: packs}},
		}))
	}
	cases := []struct {
		name   string
		change func(t *testing.T, r *rig)
		reason string // of the refusal; empty where it is confirmed
		says   []string
	}{
		{"nothing", func(*testing.T, *rig) {}, "", nil},
		{"an order changed", func(t *testing.T, r *rig) { changeOrder(t, r, 7) }, "ORDERS_CHANGED", []string{"1 order changed", "bell-20261126", "Chef"}},
		{"an order changed and changed back", func(t *testing.T, r *rig) { changeOrder(t, r, 7); changeOrder(t, r, 6) }, "", nil},
		{"an order more", func(t *testing.T, r *rig) { r.place(t, wants("crown", tomorrow, "white", 1)) }, "ORDERS_CHANGED", []string{"crown-20261126", "Office"}},
		{"an order of another day", func(t *testing.T, r *rig) { r.place(t, wants("crown", today, "white", 1)) }, "", nil},
		{"an order less", func(t *testing.T, r *rig) {
			o := must[*orderv1.ListOrdersResponse](t)(r.ListOrders(r.office(t), &orderv1.ListOrdersRequest{DeliveryDate: tomorrow})).GetOrders()[0]
			must[*orderv1.Order](t)(r.CancelOrder(r.office(t), &orderv1.CancelOrderRequest{RequestId: ids.New(), OrderId: o.GetOrderId(), Etag: o.GetEtag()}))
		}, "ORDERS_CHANGED", []string{"anchor-20261126"}},
		{"more supply", func(t *testing.T, r *rig) { r.expect(t, "alder", "white", tomorrow, 9000, 2) }, "", nil},
		{"less supply", func(t *testing.T, r *rig) { r.expect(t, "alder", "white", tomorrow, 7999, 2) }, "SUPPLY_CHANGED", []string{"1 lot can", "alder-1-white-2026-11-26 (7 of 8 packs)"}},
		{"a lot held", func(t *testing.T, r *rig) { r.pick(t, "alder", "white", tomorrow, 8000, 1, true) }, "SUPPLY_CHANGED", []string{"(0 of 8 packs)"}},
		{"picked as expected", func(t *testing.T, r *rig) { r.pick(t, "alder", "white", tomorrow, 8000, 1, false) }, "", nil},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := ready(t)
			m := r.matched(t, tomorrow)
			c.change(t, r)
			_, err := r.ConfirmMatch(r.office(t), confirming(m))
			if c.reason == "" {
				if err != nil {
					t.Fatal(err)
				}
				return
			}
			f := refused(t, err, fault.Stale, c.reason, "match_id")
			for _, words := range c.says {
				if !strings.Contains(f.Message, words) {
					t.Errorf("%q does not say %q", f.Message, words)
				}
			}
			got := must[*orderv1.Match](t)(r.GetMatch(r.office(t), &orderv1.GetMatchRequest{MatchId: m.GetMatchId()}))
			diff(t, "the match after a refusal", m, got)
		})
	}
}

func TestConfirmRefusals(t *testing.T) {
	t.Parallel()
	r := ready(t)
	m := r.matched(t, tomorrow)
	_, err := r.ConfirmMatch(r.office(t), &orderv1.ConfirmMatchRequest{RequestId: ids.New(), MatchId: "20261126-9", Etag: m.GetEtag()})
	refused(t, err, fault.NotFound, "", "")
	_, err = r.ConfirmMatch(r.office(t), &orderv1.ConfirmMatchRequest{RequestId: ids.New(), MatchId: m.GetMatchId(), Etag: "v7-0"})
	refused(t, err, fault.Stale, "STALE_ETAG", "etag")
	req := confirming(m)
	first := must[*orderv1.Match](t)(r.ConfirmMatch(r.office(t), req))
	diff(t, "sent again", first, must[*orderv1.Match](t)(r.ConfirmMatch(r.office(t), req)))
}
