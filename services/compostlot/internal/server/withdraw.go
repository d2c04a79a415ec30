package server

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/saving"
)

// WithdrawSlot implements CompostLotService.
func (s *Server) WithdrawSlot(ctx context.Context, req *compostlotv1.WithdrawSlotRequest) (*compostlotv1.WithdrawSlotResponse, error) {
	return once(ctx, s, req, &compostlotv1.WithdrawSlotResponse{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.WithdrawSlotResponse, error) {
		return s.withdraw(ctx, tx, req)
	})
}

// withdraw comes in turn with the rounds, so that no round gives out what goes away.
func (s *Server) withdraw(ctx context.Context, tx pgx.Tx, req *compostlotv1.WithdrawSlotRequest) (*compostlotv1.WithdrawSlotResponse, error) {
	if _, err := store.NextRound(ctx, tx); err != nil {
		return nil, err
	}
	parts, err := store.SharesOf(ctx, tx, req.GetSlotId())
	if err != nil {
		return nil, err
	}
	touched := append(ids(parts, func(p store.ShareSlot) string { return p.SlotID }), req.GetSlotId())
	slots, err := store.LockSlots(ctx, tx, touched)
	if err != nil {
		return nil, err
	}
	slot, ok := slots[req.GetSlotId()]
	if !ok {
		return nil, missing("UNKNOWN_SLOT", "slot_id", "there is no slot %q: correct the id", req.GetSlotId())
	}
	if err := s.mayWithdraw(ctx, tx, slot, req.GetEtag()); err != nil {
		return nil, err
	}
	lost, err := s.undo(ctx, tx, slot, parts, req.GetNotice())
	if err != nil {
		return nil, err
	}
	now := s.now()
	before := slot
	slot.State, slot.FreeKg, slot.Version = store.SlotWithdrawn, 0, slot.Version+1
	slot.Notice, slot.WithdrawnBy, slot.WithdrawnAt = req.GetNotice(), actor(ctx), &now
	if err := store.WithdrawSlot(ctx, tx, slot); err != nil {
		return nil, err
	}
	out := &compostlotv1.WithdrawSlotResponse{Slot: slotMessage(slot)}
	if out.Affected, err = affected(ctx, tx, before, lost); err != nil {
		return nil, err
	}
	event := &compostlotv1.SlotWithdrawn{Slot: out.GetSlot(), Affected: out.GetAffected()}
	return out, tell(ctx, tx, "slot", "withdrawn", slot.ID, event)
}

func (s *Server) mayWithdraw(ctx context.Context, tx pgx.Tx, slot store.Slot, sent string) error {
	if err := ownYard(ctx, "slot_id", slot.YardID); err != nil {
		return err
	}
	if slot.State == store.SlotWithdrawn {
		return precondition(ReasonWithdrawn, "slot_id", "slot %q was withdrawn by %s at %s already", slot.ID, slot.WithdrawnBy, stamp(*slot.WithdrawnAt))
	}
	if sent != "" && sent != saving.Etag(slot.Version) {
		return precondition(ReasonReadAgain, "etag", "slot %q was shared out or changed since it was read: read it again and send its etag", slot.ID)
	}
	lots, err := store.LotsOf(ctx, tx, slot.ID)
	if err != nil {
		return err
	}
	if len(lots) > 0 {
		return precondition(ReasonSlotTaken, "slot_id", "lot %q is made for slot %q: hold the lot instead", lots[0].ID, slot.ID)
	}
	return nil
}

// undo takes back every share that has a part of the slot, and gives the other parts back to
// their slots. It returns what each request lost.
func (s *Server) undo(ctx context.Context, tx pgx.Tx, slot store.Slot, parts []store.ShareSlot, notice string) (map[string]int64, error) {
	lost, rounds, back := map[string]int64{}, map[string]string{}, map[string]int64{}
	for _, p := range parts {
		lost[p.RequestID] += p.GrantedKg
		rounds[p.RequestID] = p.RoundID
		if p.SlotID != slot.ID {
			back[p.SlotID] += p.GrantedKg
		}
	}
	if len(lost) == 0 {
		return lost, nil
	}
	var undone []store.Undone
	for _, id := range ids(parts, func(p store.ShareSlot) string { return p.RequestID }) {
		undone = append(undone, store.Undone{
			RoundID: rounds[id], RequestID: id, HadKg: lost[id],
			Explanation: fmt.Sprintf("Had %d kg until slot %s was withdrawn: %s. It waits for a new round.", lost[id], slot.ID, strings.TrimRight(notice, ". ")),
		})
	}
	if _, err := store.LockRequests(ctx, tx, ids(parts, func(p store.ShareSlot) string { return p.RequestID })); err != nil {
		return nil, err
	}
	if err := store.UndoShares(ctx, tx, undone, actor(ctx), s.now()); err != nil {
		return nil, err
	}
	var giveBack []store.Taken
	for _, id := range ids(parts, func(p store.ShareSlot) string { return p.SlotID }) {
		if id != slot.ID {
			giveBack = append(giveBack, store.Taken{SlotID: id, Kg: back[id]})
		}
	}
	return lost, store.GiveBack(ctx, tx, giveBack)
}

// affected are the requests that lost a share or waited for the slot, each with what a round
// over their days would give it now.
func affected(ctx context.Context, tx pgx.Tx, slot store.Slot, lost map[string]int64) ([]*compostlotv1.AffectedRequest, error) {
	requests, err := store.WaitingRequests(ctx, tx, slot.ReadyDate, slot.ReadyDate)
	if err != nil {
		return nil, err
	}
	requests = slices.DeleteFunc(requests, func(r store.Request) bool {
		_, had := lost[r.ID]
		return !had && !(takes(r, slot) && !r.AskedAt.After(slot.RequestCutoff))
	})
	if len(requests) == 0 {
		return nil, nil
	}
	from, to := requests[0].Earliest, requests[0].Latest
	for _, r := range requests {
		if r.Earliest.Before(from) {
			from = r.Earliest
		}
		if r.Latest.After(to) {
			to = r.Latest
		}
	}
	slots, err := store.SlotsToShare(ctx, tx, from, to)
	if err != nil {
		return nil, err
	}
	waiting, err := store.WaitingRequests(ctx, tx, from, to)
	if err != nil {
		return nil, err
	}
	round, err := shareOut(ctx, tx, slots, waiting)
	if err != nil {
		return nil, err
	}
	proposals := map[string]*compostlotv1.Share{}
	for _, share := range round.message().GetShares() {
		proposals[share.GetCompostRequestId()] = share
	}
	return convert(requests, func(r store.Request) *compostlotv1.AffectedRequest {
		return &compostlotv1.AffectedRequest{CompostRequestId: r.ID, FarmId: r.FarmID, LostKg: lost[r.ID], Proposal: proposals[r.ID]}
	}), nil
}
