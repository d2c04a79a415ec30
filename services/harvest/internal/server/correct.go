package server

import (
	"context"
	"strings"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/ids"
	"breakshare.example/services/platform/outbox"
)

// Reasons of the faults about what was weighed and thrown away.
const (
	ReasonCorrectedAlready = "CORRECTED_ALREADY"
	ReasonTooLittleLeft    = "TOO_LITTLE_LEFT"
)

// lockLot finds a lot that the caller may touch, and keeps others from it.
func lockLot(ctx context.Context, tx pgx.Tx, id string) (store.PickLot, error) {
	found, err := store.LockLots(ctx, tx, []string{id})
	if err != nil {
		return store.PickLot{}, err
	}
	l, ok := found[id]
	if !ok {
		return l, noLot(id)
	}
	return l, checkFarm(ctx, "pick lot "+l.ID, l.FarmID)
}

// CorrectPick puts a new weighing in the place of an earlier one.
func (s *Server) CorrectPick(ctx context.Context, req *harvestv1.CorrectPickRequest) (*harvestv1.CorrectPickResponse, error) {
	reason := strings.TrimSpace(req.GetReason())
	if reason == "" {
		return nil, fault.InvalidField("reason", "a weighing is corrected for a reason: say what was wrong")
	}
	if !ids.Valid(req.GetPickId()) {
		return nil, noPick(req.GetPickId())
	}
	return keep(ctx, s, req.GetRequestId(), req, &harvestv1.CorrectPickResponse{},
		func(ctx context.Context, tx pgx.Tx) (*harvestv1.CorrectPickResponse, error) {
			return s.correct(ctx, tx, req, reason)
		})
}

func noPick(id string) error {
	return fault.New(fault.NotFound, "NO_PICK", "no weighing has the id %s: read it again from the picks of the lot", id).WithMeta("pickId", id)
}

func (s *Server) correct(ctx context.Context, tx pgx.Tx, req *harvestv1.CorrectPickRequest, reason string) (*harvestv1.CorrectPickResponse, error) {
	old, _, ok, err := store.FindPick(ctx, tx, req.GetPickId())
	if err != nil {
		return nil, err
	}
	if !ok {
		return nil, noPick(req.GetPickId())
	}
	l, err := lockLot(ctx, tx, old.LotID)
	if err != nil {
		return nil, err
	}
	// Only now is it sure that nobody else corrects it meanwhile.
	_, by, _, err := store.FindPick(ctx, tx, old.ID)
	if err != nil {
		return nil, err
	}
	if by != "" {
		return nil, fault.New(fault.Precondition, ReasonCorrectedAlready, "weighing %s was corrected already: correct %s, which took its place", old.ID, by).WithMeta("pickId", by)
	}
	fresh := store.Pick{ID: ids.New(), LotID: l.ID, Picker: old.Picker, RecordedAt: s.clock.Now(), RecordedBy: caller(ctx)}
	if p := req.GetPick(); p != nil {
		if err := judgeCorrection(ctx, tx, p, l); err != nil {
			return nil, err
		}
		fresh = s.weighed(ctx, p, l.ID)
		if fresh.Break == nil {
			fresh.Break, fresh.BreakProposed = old.Break, old.BreakProposed
		}
	}
	fresh.CorrectsID, fresh.CorrectionReason = &old.ID, reason
	l.NetGrams += fresh.Net() - old.Net()
	l.Picks += stands(fresh) - stands(old)
	l.Version++
	if fresh.StoreID != "" {
		l.StoreID = fresh.StoreID
	}
	if l.Left() < 0 {
		return nil, fault.New(fault.Precondition, ReasonTooLittleLeft, "of lot %s %d g were discarded, more than the %d g that were picked by this correction: correct the weights", l.ID, l.Discarded, l.NetGrams)
	}
	if err := store.AddPicks(ctx, tx, []store.Pick{fresh}); err != nil {
		return nil, err
	}
	if err := store.SaveLot(ctx, tx, l); err != nil {
		return nil, err
	}
	told := &harvestv1.PickRecorded{Pick: pickMessage(fresh, l), PickLot: lots.Message(l)}
	err = outbox.Add(ctx, tx, outbox.Event{Thing: "pick", What: "recorded", Aggregate: l.ID, Payload: told})
	return &harvestv1.CorrectPickResponse{Pick: told.GetPick(), PickLot: told.GetPickLot()}, err
}

// stands is 1 for a weighing, 0 for one that only withdraws another.
func stands(p store.Pick) int64 {
	if p.Gross == 0 {
		return 0
	}
	return 1
}

// judgeCorrection refuses what contradicts itself or is of another lot.
func judgeCorrection(ctx context.Context, tx pgx.Tx, p *harvestv1.Pick, l store.PickLot) error {
	stores, err := store.ColdStores(ctx, tx, l.FarmID)
	if err != nil {
		return err
	}
	j := &judge{}
	j.judgeWeights("pick", p)
	j.judgeStore("pick", p.GetStoreId(), l.FarmID, stores)
	for _, f := range []struct{ field, got, want string }{
		{"room_id", p.GetRoomId(), l.RoomID}, {"product_id", p.GetProductId(), l.ProductID}, {"date", p.GetDate(), l.Day.String()},
	} {
		if f.got != f.want {
			j.refuse("pick."+f.field, "the weighing is of %s, not of %s: withdraw it and record it anew where it belongs", f.want, f.got)
		}
	}
	return j.verdict()
}

// RecordDiscard takes what was thrown away out of a lot.
func (s *Server) RecordDiscard(ctx context.Context, req *harvestv1.RecordDiscardRequest) (*harvestv1.RecordDiscardResponse, error) {
	in := req.GetDiscard()
	note := strings.TrimSpace(in.GetNote())
	if in.GetReason() == harvestv1.DiscardReason_DISCARD_REASON_OTHER && note == "" {
		return nil, fault.InvalidField("discard.note", "for another reason than those listed, say here which")
	}
	return keep(ctx, s, req.GetRequestId(), req, &harvestv1.RecordDiscardResponse{},
		func(ctx context.Context, tx pgx.Tx) (*harvestv1.RecordDiscardResponse, error) {
			l, err := lockLot(ctx, tx, in.GetPickLotId())
			if err != nil {
				return nil, err
			}
			if in.GetGrams() > l.Left() {
				return nil, fault.New(fault.Precondition, ReasonTooLittleLeft, "lot %s has %d g, and %d g cannot be thrown away of it: correct the weight", l.ID, l.Left(), in.GetGrams()).
					WithField("discard.grams", "at most %d", l.Left())
			}
			d := store.Discard{
				ID: ids.New(), LotID: l.ID, Grams: in.GetGrams(), Reason: int16(in.GetReason()), Note: note,
				RecordedAt: s.clock.Now(), RecordedBy: caller(ctx),
			}
			l.Discarded += d.Grams
			l.Version++
			if err := store.AddDiscard(ctx, tx, d); err != nil {
				return nil, err
			}
			if err := store.SaveLot(ctx, tx, l); err != nil {
				return nil, err
			}
			told := &harvestv1.StockChanged{Discard: discardMessage(d), PickLot: lots.Message(l)}
			err = outbox.Add(ctx, tx, outbox.Event{Thing: "stock", What: "changed", Aggregate: l.ID, Payload: told})
			return &harvestv1.RecordDiscardResponse{Discard: told.GetDiscard(), PickLot: told.GetPickLot()}, err
		})
}

func discardMessage(d store.Discard) *harvestv1.Discard {
	return &harvestv1.Discard{
		DiscardId: d.ID, PickLotId: d.LotID, Grams: d.Grams, Reason: harvestv1.DiscardReason(d.Reason), Note: d.Note,
		RecordedAt: timestamppb.New(d.RecordedAt), RecordedBy: d.RecordedBy,
	}
}
