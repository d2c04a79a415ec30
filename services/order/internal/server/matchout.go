package server

import (
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/store"
)

// reasons has, for each reason of the rules, the word in the database and the value in messages.
var reasons = map[match.Reason]struct {
	stored string
	out    orderv1.ShortReason
}{
	match.NotShort:    {"", orderv1.ShortReason_SHORT_REASON_UNSPECIFIED},
	match.NotOffered:  {"not_offered", orderv1.ShortReason_SHORT_REASON_NOT_OFFERED},
	match.HigherClass: {"higher_class", orderv1.ShortReason_SHORT_REASON_HIGHER_CLASS},
	match.SameClass:   {"same_class", orderv1.ShortReason_SHORT_REASON_SAME_CLASS},
	match.NotFit:      {"not_fit", orderv1.ShortReason_SHORT_REASON_NOT_FIT},
	match.NotEnough:   {"not_enough", orderv1.ShortReason_SHORT_REASON_NOT_ENOUGH},
	match.Excluded:    {"excluded", orderv1.ShortReason_SHORT_REASON_EXCLUDED},
	match.NotPromised: {"not_promised", orderv1.ShortReason_SHORT_REASON_NOT_PROMISED},
	match.TooFewOfUse: {"too_few_of_use", orderv1.ShortReason_SHORT_REASON_TOO_FEW_OF_USE},
	match.ByHand:      {"by_hand", orderv1.ShortReason_SHORT_REASON_BY_HAND},
}

// reasonOut is reasons from the database to messages.
var reasonOut = func() map[string]orderv1.ShortReason {
	m := make(map[string]orderv1.ShortReason, len(reasons))
	for _, r := range reasons {
		m[r.stored] = r.out
	}
	return m
}()

// bindingIn writes what binds as it is stored.
func bindingIn(binds []match.Bind) string {
	parts := make([]string, len(binds))
	for i, b := range binds {
		parts[i] = reasons[b.Reason].stored + "=" + strconv.FormatInt(b.Packs, 10)
	}
	return strings.Join(parts, ",")
}

// bindingOut reads it.
func bindingOut(stored string) []*orderv1.Bind {
	var binds []*orderv1.Bind
	for part := range strings.SplitSeq(stored, ",") {
		reason, packs, found := strings.Cut(part, "=")
		n, err := strconv.ParseInt(packs, 10, 64)
		if found && err == nil {
			binds = append(binds, &orderv1.Bind{Reason: reasonOut[reason], Packs: n})
		}
	}
	return binds
}

var stateOut = map[string]orderv1.MatchState{
	store.Proposed:  orderv1.MatchState_MATCH_STATE_PROPOSED,
	store.Confirmed: orderv1.MatchState_MATCH_STATE_CONFIRMED,
	store.Replaced:  orderv1.MatchState_MATCH_STATE_REPLACED,
}

// matchEtag is the mark of what a caller has seen of a match: its version, and how often any
// match of its day was confirmed, so that whoever confirms has seen the confirmation before.
func matchEtag(m store.MatchHead) string {
	return etag(m.Version) + "-" + strconv.FormatInt(m.Confirmations, 10)
}

func matchOut(m store.Match) *orderv1.Match {
	out := &orderv1.Match{
		MatchId: m.ID, DeliveryDate: m.Day, State: stateOut[m.State], RunAt: timestamppb.New(m.RunAt), RunBy: m.RunBy,
		ConfirmedAt: instant(m.ConfirmedAt), SupplyAsOf: instant(m.SupplyAsOf), Etag: matchEtag(m.MatchHead),
		// Only what was verified is ever stored.
		Proof:      &orderv1.Proof{Nodes: m.Nodes, Arcs: m.Arcs, Cost: m.Cost, Verified: true, SolveMicros: m.SolveMicros, Phases: m.Phases, Splits: m.Splits, GapMinor: m.GapMinor},
		ValueMinor: m.ValueMinor, PinsCostMinor: m.PinsCostMinor,
	}
	if m.From != nil {
		out.RebalancedFrom = *m.From
	}
	if m.ConfirmedBy != nil {
		out.ConfirmedBy = *m.ConfirmedBy
	}
	for _, p := range m.Products {
		out.Products = append(out.Products, &orderv1.MatchProduct{
			ProductId: p.Product, Offered: p.Offered, Ordered: p.Ordered, Matched: p.Matched, Left: p.Offered - p.Given, Given: p.Given,
			MoreWorthMinor: p.MoreWorthMinor, FewerCostMinor: p.FewerCostMinor, WorthMinorPerKg: p.WorthMinorPerKg, LeftOver: p.LeftOver,
			Likely: p.Likely, PooledGainGrams: p.PooledGainGrams, Said: p.Said,
		})
	}
	for _, l := range m.Lines {
		out.Lines = append(out.Lines, &orderv1.MatchLine{
			OrderId: l.Order, CustomerId: l.Customer, ProductId: l.Product, Ordered: l.Ordered, Matched: l.Matched,
			Reason: reasonOut[l.Reason], Explanation: l.Explanation, Binds: bindingOut(l.Binding), Farms: l.Farms,
		})
	}
	for _, a := range m.Allocations {
		out.Allocations = append(out.Allocations, &orderv1.Allocation{
			OrderId: a.Order, CustomerId: a.Customer, ProductId: a.Product, PickLotId: a.Lot, FarmId: a.Farm, RoomId: a.Room, Packs: a.Packs, PackedProductId: a.Packed,
		})
	}
	for _, f := range m.Farms {
		out.Farms = append(out.Farms, &orderv1.MatchFarm{FarmId: f.Farm, Offered: f.Offered, Matched: f.Matched, SeasonOffered: f.SeasonOffered, SeasonMatched: f.SeasonMatched})
	}
	return out
}
