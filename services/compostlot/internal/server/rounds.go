package server

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// ShareOut implements CompostLotService.
func (s *Server) ShareOut(ctx context.Context, req *compostlotv1.ShareOutRequest) (*compostlotv1.Round, error) {
	from, to, err := span(req.GetFromDate(), req.GetToDate())
	if err != nil {
		return nil, err
	}
	if !req.GetConfirm() {
		return s.previewRound(ctx, from, to)
	}
	if role := identity.Must(ctx).Role; role != identity.Coordinator {
		return nil, fault.New(fault.Forbidden, ReasonNotYours, "a round is confirmed by the coordinator: send confirm = false for a preview").
			WithField("confirm", "is for the coordinator")
	}
	return once(ctx, s, req, &compostlotv1.Round{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.Round, error) {
		return s.confirmRound(ctx, tx, from, to)
	})
}

// previewRound shares out without keeping anything.
func (s *Server) previewRound(ctx context.Context, from, to time.Time) (*compostlotv1.Round, error) {
	var out *compostlotv1.Round
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		slots, err := store.SlotsToShare(ctx, tx, from, to)
		if err != nil {
			return err
		}
		requests, err := store.WaitingRequests(ctx, tx, from, to)
		if err != nil {
			return err
		}
		shared, err := shareOut(ctx, tx, slots, requests)
		if err == nil {
			out = shared.message()
		}
		return err
	})
	return out, err
}

// confirmRound shares out and grants. Rounds of a co-op come one after the other, and slots
// and requests are held while it is reckoned: nothing of them is given twice.
func (s *Server) confirmRound(ctx context.Context, tx pgx.Tx, from, to time.Time) (*compostlotv1.Round, error) {
	number, err := store.NextRound(ctx, tx)
	if err != nil {
		return nil, err
	}
	slots, err := store.LockSlotsToShare(ctx, tx, from, to)
	if err != nil {
		return nil, err
	}
	requests, err := store.LockWaitingRequests(ctx, tx, from, to)
	if err != nil {
		return nil, err
	}
	shared, err := shareOut(ctx, tx, slots, requests)
	if err != nil {
		return nil, err
	}
	if err := shared.worthConfirming(); err != nil {
		return nil, err
	}
	round := shared.message()
	by, now := actor(ctx), s.now()
	round.RoundId, round.ConfirmedAt, round.ConfirmedBy = fmt.Sprintf("round-%d", number), timestamppb.New(now), by
	row := store.Round{
		ID: round.GetRoundId(), Number: number, SlotIDs: round.GetSlotIds(), Exact: round.GetExact(), MostKg: round.GetMostKg(),
		ConfirmedAt: now, ConfirmedBy: by, Rule: shared.settings.Rule, Weights: shared.settings.Weights,
	}
	shares, parts, granted := shareRows(round)
	if err := store.InsertRound(ctx, tx, row, shares, parts); err != nil {
		return nil, err
	}
	if err := store.TakeFromSlots(ctx, tx, shared.taken()); err != nil {
		return nil, err
	}
	if err := store.SettleRequests(ctx, tx, row.ID, granted, by, now); err != nil {
		return nil, err
	}
	for _, share := range round.GetShares() {
		event := &compostlotv1.ShareGranted{RoundId: row.ID, Share: share}
		if err := tell(ctx, tx, "share", "granted", share.GetCompostRequestId(), event); err != nil {
			return nil, err
		}
	}
	return round, nil
}

// shareRows turns a round's shares into rows; granted are the requests that got something.
func shareRows(round *compostlotv1.Round) (shares []store.Share, parts []store.ShareSlot, granted []string) {
	for _, m := range round.GetShares() {
		shares = append(shares, store.Share{
			RoundID: round.GetRoundId(), RequestID: m.GetCompostRequestId(), FarmID: m.GetFarmId(), RoomID: m.GetRoomId(),
			WantedKg: m.GetWantedKg(), GrantedKg: m.GetGrantedKg(), Limit: limitNames[m.GetLimit()], Explanation: m.GetExplanation(),
		})
		for _, p := range m.GetSlots() {
			parts = append(parts, store.ShareSlot{RoundID: round.GetRoundId(), RequestID: m.GetCompostRequestId(), SlotID: p.GetSlotId(), GrantedKg: p.GetGrantedKg()})
		}
		if m.GetGrantedKg() > 0 {
			granted = append(granted, m.GetCompostRequestId())
		}
	}
	return shares, parts, granted
}

var limitNames = map[compostlotv1.ShareLimit]string{
	compostlotv1.ShareLimit_SHARE_LIMIT_ASKED_IN_FULL:     "asked_in_full",
	compostlotv1.ShareLimit_SHARE_LIMIT_SLOTS_FULL:        "slots_full",
	compostlotv1.ShareLimit_SHARE_LIMIT_NO_SLOT_IN_WINDOW: "no_slot_in_window",
	compostlotv1.ShareLimit_SHARE_LIMIT_BELOW_SMALLEST:    "below_smallest",
	compostlotv1.ShareLimit_SHARE_LIMIT_SLOT_WITHDRAWN:    "slot_withdrawn",
}

// shareMessages turns rows of shares and their parts into messages.
func shareMessages(shares []store.Share, parts []store.ShareSlot) []*compostlotv1.Share {
	limits := make(map[string]compostlotv1.ShareLimit, len(limitNames))
	for limit, name := range limitNames {
		limits[name] = limit
	}
	type key struct{ round, request string }
	of := map[key][]*compostlotv1.ShareSlot{}
	for _, p := range parts {
		k := key{p.RoundID, p.RequestID}
		of[k] = append(of[k], &compostlotv1.ShareSlot{SlotId: p.SlotID, GrantedKg: p.GrantedKg})
	}
	return convert(shares, func(s store.Share) *compostlotv1.Share {
		return &compostlotv1.Share{
			CompostRequestId: s.RequestID, FarmId: s.FarmID, RoomId: s.RoomID, WantedKg: s.WantedKg, GrantedKg: s.GrantedKg,
			Slots: of[key{s.RoundID, s.RequestID}], Limit: limits[s.Limit], Explanation: s.Explanation,
		}
	})
}
