package server

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/saving"
)

// OpenLot implements CompostLotService.
func (s *Server) OpenLot(ctx context.Context, req *compostlotv1.OpenLotRequest) (*compostlotv1.Lot, error) {
	return once(ctx, s, req, &compostlotv1.Lot{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.Lot, error) {
		opened, err := s.openLots(ctx, tx, []*compostlotv1.Lot{req.GetLot()}, only("lot"))
		if err != nil {
			return nil, err
		}
		return opened[0], nil
	})
}

// BatchOpenLots implements CompostLotService.
func (s *Server) BatchOpenLots(ctx context.Context, req *compostlotv1.BatchOpenLotsRequest) (*compostlotv1.BatchOpenLotsResponse, error) {
	return once(ctx, s, req, &compostlotv1.BatchOpenLotsResponse{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.BatchOpenLotsResponse, error) {
		opened, err := s.openLots(ctx, tx, req.GetLots(), list("lots"))
		return &compostlotv1.BatchOpenLotsResponse{Lots: opened}, err
	})
}

func (s *Server) openLots(ctx context.Context, tx pgx.Tx, lots []*compostlotv1.Lot, at place) ([]*compostlotv1.Lot, error) {
	if err := noDuplicates(len(lots), func(i int) string { return lots[i].GetLotId() }, at, "lot_id"); err != nil {
		return nil, err
	}
	yards, err := store.Yards(ctx, tx, ids(lots, (*compostlotv1.Lot).GetYardId))
	if err != nil {
		return nil, err
	}
	slots, err := store.Slots(ctx, tx, ids(lots, (*compostlotv1.Lot).GetSlotId))
	if err != nil {
		return nil, err
	}
	known, err := store.LockLots(ctx, tx, ids(lots, (*compostlotv1.Lot).GetLotId))
	if err != nil {
		return nil, err
	}
	recipes, err := store.Recipes(ctx, tx, ids(lots, (*compostlotv1.Lot).GetRecipeId))
	if err != nil {
		return nil, err
	}
	first := store.Change{}.Next(actor(ctx), s.now())
	rows := make([]store.Lot, len(lots))
	for i, m := range lots {
		if err := ownYard(ctx, at(i)+"yard_id", m.GetYardId()); err != nil {
			return nil, err
		}
		started, err := date(at(i)+"started_date", m.GetStartedDate())
		if err != nil {
			return nil, err
		}
		if _, ok := yards[m.GetYardId()]; !ok {
			return nil, fault.InvalidField(at(i)+"yard_id", "there is no yard %q: save it first, or correct the id", m.GetYardId())
		}
		if err := fitsSlot(at(i), m, slots); err != nil {
			return nil, err
		}
		if _, ok := known[m.GetLotId()]; ok {
			return nil, fault.New(fault.Exists, ReasonLotExists, "lot %q is already open: give another code", m.GetLotId()).
				WithField(at(i)+"lot_id", "is taken")
		}
		rows[i] = store.Lot{
			ID: m.GetLotId(), YardID: m.GetYardId(), SlotID: m.GetSlotId(), Phase: int16(m.GetPhase()), StartedDate: started,
			MadeKg: m.GetMadeKg(), RemainingKg: m.GetMadeKg(), State: store.LotOpen, Change: first,
		}
		if m.GetRecipeId() != "" {
			if err := byRecipe(&rows[i], m.GetRecipeId(), recipes, at(i)); err != nil {
				return nil, err
			}
		}
	}
	if err := store.InsertLots(ctx, tx, rows); err != nil {
		return nil, err
	}
	out := convert(rows, lotMessage)
	for _, lot := range out {
		if err := tell(ctx, tx, "lot", "opened", lot.GetLotId(), &compostlotv1.LotOpened{Lot: lot}); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// fitsSlot refuses a lot for a slot that is another yard's or of another phase.
func fitsSlot(path string, m *compostlotv1.Lot, slots map[string]store.Slot) error {
	if m.GetSlotId() == "" {
		return nil
	}
	slot, ok := slots[m.GetSlotId()]
	switch {
	case !ok:
		return fault.InvalidField(path+"slot_id", "there is no slot %q: publish it first, or leave it empty", m.GetSlotId())
	case slot.State == store.SlotWithdrawn:
		return fault.InvalidField(path+"slot_id", "slot %q was withdrawn by %s: %s; leave it empty, or name another", slot.ID, slot.WithdrawnBy, slot.Notice)
	case slot.YardID != m.GetYardId():
		return fault.InvalidField(path+"slot_id", "slot %q is one of yard %q, not of %q: correct one of them", slot.ID, slot.YardID, m.GetYardId())
	case slot.Phase != int16(m.GetPhase()):
		return fault.InvalidField(path+"phase", "slot %q gives compost of phase %d, not %d: correct one of them", slot.ID, slot.Phase, m.GetPhase())
	}
	return nil
}

// ListLots implements CompostLotService.
func (s *Server) ListLots(ctx context.Context, req *compostlotv1.ListLotsRequest) (*compostlotv1.ListLotsResponse, error) {
	resp := &compostlotv1.ListLotsResponse{}
	return resp, s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := store.ListLots(ctx, tx, req.GetYardId())
		resp.Lots = convert(rows, lotMessage)
		return err
	})
}

// lockLots locks the lots that the elements of a request name, in the caller's own yard where
// the caller is a yard manager.
func lockLots[T interface{ GetLotId() string }](ctx context.Context, tx pgx.Tx, items []T, at place) (map[string]store.Lot, error) {
	lots, err := store.LockLots(ctx, tx, ids(items, T.GetLotId))
	if err != nil {
		return nil, err
	}
	for i, item := range items {
		lot, ok := lots[item.GetLotId()]
		if !ok {
			return nil, unknownLot(at(i), item.GetLotId())
		}
		if err := ownYard(ctx, at(i)+"lot_id", lot.YardID); err != nil {
			return nil, err
		}
	}
	return lots, nil
}

// notReleased refuses to change the evidence on which a lot was released.
func notReleased(path string, lot store.Lot) error {
	if lot.State != store.LotReleased {
		return nil
	}
	return precondition(ReasonReleased, path+"lot_id", "lot %q was released by %s at %s on the evidence as it stood: hold the lot before that is corrected",
		lot.ID, lot.ReleasedBy, stamp(*lot.ReleasedAt))
}

var lotStates = map[string]compostlotv1.LotState{
	store.LotOpen:     compostlotv1.LotState_LOT_STATE_OPEN,
	store.LotReleased: compostlotv1.LotState_LOT_STATE_RELEASED,
	store.LotHeld:     compostlotv1.LotState_LOT_STATE_HELD,
}

func lotMessage(l store.Lot) *compostlotv1.Lot {
	return &compostlotv1.Lot{
		LotId: l.ID, YardId: l.YardID, SlotId: l.SlotID, Phase: typev1.CompostPhase(l.Phase), StartedDate: dateText(l.StartedDate),
		MadeKg: l.MadeKg, RemainingKg: l.RemainingKg, State: lotStates[l.State], ReleasedBy: l.ReleasedBy, ReleasedAt: optional(l.ReleasedAt),
		ExceptionReason: l.ExceptionReason, UnprovenCriteria: l.Unproven, HeldBy: l.HeldBy, HoldReason: l.HoldReason,
		RecipeId: l.RecipeID, RecipeVersion: l.RecipeVersion, Version: l.Version, Etag: saving.Etag(l.Version),
	}
}

func deliveryID(d store.Delivery) string { return fmt.Sprintf("%s-%d", d.LotID, d.Number) }
