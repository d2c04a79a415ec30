package server

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/shareout"
	"breakshare.example/services/compostlot/internal/store"
)

// shared is a round as reckoned, with what it was reckoned from.
type shared struct {
	slots    []store.Slot // by ready date, then id
	requests map[string]store.Request
	late     []store.Request // came after the cut-off of every slot that they would take
	settings store.ShareSettings
	result   *shareout.Result
}

var rules = map[string]shareout.Rule{
	store.RuleSatisfiedShare: shareout.BySatisfiedShare,
	store.RuleEqualAwards:    shareout.ByEqualAwards,
}

// shareOut reckons a round: what is free of the slots among the requests, by the co-op's
// settings, then with the cheapest haul.
func shareOut(ctx context.Context, tx pgx.Tx, slots []store.Slot, requests []store.Request) (*shared, error) {
	slices.SortFunc(slots, func(a, b store.Slot) int {
		return cmp.Or(a.ReadyDate.Compare(b.ReadyDate), strings.Compare(a.ID, b.ID))
	})
	farms, err := store.Farms(ctx, tx, ids(requests, func(r store.Request) string { return r.FarmID }))
	if err != nil {
		return nil, err
	}
	settings, err := store.FindShareSettings(ctx, tx, false)
	if err != nil {
		return nil, err
	}
	haul, err := haulTable(ctx, tx, settings)
	if err != nil {
		return nil, err
	}
	out := &shared{slots: slots, requests: make(map[string]store.Request, len(requests)), settings: settings}
	in := shareout.Round{Rule: rules[settings.Rule]}
	for _, slot := range slots {
		in.Slots = append(in.Slots, shareout.Slot{
			ID: slot.ID, Date: slot.ReadyDate, Phase: int(slot.Phase), CapacityKg: slot.FreeKg, SmallestLotKg: slot.SmallestLotKg,
		})
	}
	for _, r := range requests {
		out.requests[r.ID] = r
		open, late := acceptable(r, slots)
		if len(open) == 0 && late {
			out.late = append(out.late, r)
			continue
		}
		farm, known := farms[r.FarmID]
		if !known {
			return nil, fmt.Errorf("request %s: farm %s is not in the read model", r.ID, r.FarmID)
		}
		weight := int64(farm.MemberShares)
		if settings.Weights == store.WeightsEqual {
			weight = 1
		}
		in.Requests = append(in.Requests, shareout.Request{
			ID: r.ID, Farm: r.FarmID, AskedKg: r.WantedKg, Weight: weight, SlotIDs: open, HaulCents: haul.to(r.FarmID, slots),
			Window:           shareout.Window{From: r.Earliest, To: r.Latest, Phases: convert(r.Phases, func(p int16) int { return int(p) })},
			SmallestUsefulKg: r.SmallestUsefulKg, WholeFill: r.WholeFill,
		})
	}
	out.result, err = shareout.ShareOut(in)
	return out, err
}

// acceptable returns the slots that a request can have; late tells that a cut-off kept it
// from one.
func acceptable(r store.Request, slots []store.Slot) (open []string, late bool) {
	for _, slot := range slots {
		switch {
		case !takes(r, slot):
		case r.AskedAt.After(slot.RequestCutoff):
			late = true
		default:
			open = append(open, slot.ID)
		}
	}
	return open, late
}

// worthConfirming refuses a round that would change nothing for anybody.
func (s *shared) worthConfirming() error {
	open := slices.ContainsFunc(s.slots, func(l store.Slot) bool { return l.State == store.SlotOpen })
	switch {
	case len(s.slots) == 0:
		return precondition(ReasonNothingShared, "from_date", "no slot of these days has anything to give: publish slots, or choose other days")
	case len(s.requests) == 0:
		return precondition(ReasonNothingShared, "from_date", "nobody asks for compost in these days: wait for requests, or choose other days")
	case !open && s.result.GrantedKg == 0:
		return precondition(ReasonNothingShared, "from_date", "earlier rounds have shared these slots out, and what is left of them serves no request: publish slots, or choose other days")
	}
	return nil
}

// taken is what the round takes out of each slot: of all that are open, and of those that
// earlier rounds left something of and that give some now.
func (s *shared) taken() []store.Taken {
	kg := map[string]int64{}
	for _, a := range s.result.Answers {
		for _, g := range a.Grants {
			kg[g.SlotID] += g.Kg
		}
	}
	var out []store.Taken
	for _, slot := range s.slots {
		if slot.State == store.SlotOpen || kg[slot.ID] > 0 {
			out = append(out, store.Taken{SlotID: slot.ID, Kg: kg[slot.ID]})
		}
	}
	return out
}

var limits = map[shareout.Reason]compostlotv1.ShareLimit{
	shareout.InFull:         compostlotv1.ShareLimit_SHARE_LIMIT_ASKED_IN_FULL,
	shareout.SlotsFull:      compostlotv1.ShareLimit_SHARE_LIMIT_SLOTS_FULL,
	shareout.NoSlotInWindow: compostlotv1.ShareLimit_SHARE_LIMIT_NO_SLOT_IN_WINDOW,
	shareout.SmallestAmount: compostlotv1.ShareLimit_SHARE_LIMIT_BELOW_SMALLEST,
}

// message is the round without what a confirmation adds.
func (s *shared) message() *compostlotv1.Round {
	out := &compostlotv1.Round{
		SlotIds: convert(s.slots, func(l store.Slot) string { return l.ID }),
		Exact:   s.result.Bound.Exact, MostKg: s.result.Bound.MostKg,
		Rule: shareRules[s.settings.Rule], Weights: shareWeights[s.settings.Weights], HaulCostMinor: s.result.HaulCents,
		Farms: convert(s.result.Farms, func(f shareout.FarmShare) *compostlotv1.FarmShare {
			return &compostlotv1.FarmShare{FarmId: f.Farm, Weight: f.Weight, AskedKg: f.AskedKg, GrantedKg: f.GrantedKg}
		}),
		Left: convert(s.result.Left, func(l shareout.Left) *compostlotv1.ShareSlot {
			return &compostlotv1.ShareSlot{SlotId: l.SlotID, GrantedKg: l.Kg}
		}),
	}
	for _, a := range s.result.Answers {
		share := s.share(s.requests[a.RequestID])
		share.GrantedKg, share.Limit, share.Explanation = a.GrantedKg, limits[a.Reason], a.Sentence
		share.Slots, share.Wider = convert(a.Grants, grantMessage), convert(a.Wider, grantMessage)
		out.Shares = append(out.Shares, share)
	}
	for _, r := range s.late {
		share := s.share(r)
		share.Limit = compostlotv1.ShareLimit_SHARE_LIMIT_NO_SLOT_IN_WINDOW
		share.Explanation = fmt.Sprintf("Asked %d kg, got 0 kg: the request came after the cut-off of every slot within its dates and phases.", r.WantedKg)
		out.Shares = append(out.Shares, share)
	}
	slices.SortFunc(out.Shares, func(a, b *compostlotv1.Share) int {
		return strings.Compare(a.GetCompostRequestId(), b.GetCompostRequestId())
	})
	return out
}

// share is a request's share before it is known what it gets.
func (s *shared) share(r store.Request) *compostlotv1.Share {
	return &compostlotv1.Share{CompostRequestId: r.ID, FarmId: r.FarmID, RoomId: r.RoomID, WantedKg: r.WantedKg}
}

func grantMessage(g shareout.Grant) *compostlotv1.ShareSlot {
	return &compostlotv1.ShareSlot{SlotId: g.SlotID, GrantedKg: g.Kg}
}
