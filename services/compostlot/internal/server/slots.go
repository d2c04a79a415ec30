package server

import (
	"context"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/compostlot/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/saving"
)

// PublishSlots implements CompostLotService.
func (s *Server) PublishSlots(ctx context.Context, req *compostlotv1.PublishSlotsRequest) (*compostlotv1.PublishSlotsResponse, error) {
	return once(ctx, s, req, &compostlotv1.PublishSlotsResponse{}, func(ctx context.Context, tx pgx.Tx) (*compostlotv1.PublishSlotsResponse, error) {
		published, err := publishSlots(ctx, tx, req.GetSlots(), list("slots"))
		return &compostlotv1.PublishSlotsResponse{Slots: published}, err
	})
}

func publishSlots(ctx context.Context, tx pgx.Tx, slots []*compostlotv1.Slot, at place) ([]*compostlotv1.Slot, error) {
	if err := noDuplicates(len(slots), func(i int) string { return slots[i].GetSlotId() }, at, "slot_id"); err != nil {
		return nil, err
	}
	yards, err := store.Yards(ctx, tx, ids(slots, (*compostlotv1.Slot).GetYardId))
	if err != nil {
		return nil, err
	}
	known, err := store.Slots(ctx, tx, ids(slots, (*compostlotv1.Slot).GetSlotId))
	if err != nil {
		return nil, err
	}
	rows := make([]store.Slot, len(slots))
	for i, slot := range slots {
		if rows[i], err = slotRow(at(i), slot); err != nil {
			return nil, err
		}
		if err := ownYard(ctx, at(i)+"yard_id", rows[i].YardID); err != nil {
			return nil, err
		}
		if _, ok := yards[rows[i].YardID]; !ok {
			return nil, fault.InvalidField(at(i)+"yard_id", "there is no yard %q: save it first, or correct the id", rows[i].YardID)
		}
		if _, ok := known[rows[i].ID]; ok {
			return nil, fault.New(fault.Exists, ReasonSlotExists, "slot %q is already published: give another id", rows[i].ID).
				WithField(at(i)+"slot_id", "is taken")
		}
	}
	if err := store.InsertSlots(ctx, tx, rows); err != nil {
		return nil, err
	}
	out := convert(rows, slotMessage)
	for _, slot := range out {
		if err := tell(ctx, tx, "slot", "published", slot.GetSlotId(), &compostlotv1.SlotPublished{Slot: slot}); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// slotRow reads a slot to be published.
func slotRow(path string, m *compostlotv1.Slot) (store.Slot, error) {
	ready, err := date(path+"ready_date", m.GetReadyDate())
	if err != nil {
		return store.Slot{}, err
	}
	cutoff, err := instant(path+"request_cutoff", m.GetRequestCutoff())
	if err != nil {
		return store.Slot{}, err
	}
	if !cutoff.Before(ready.AddDate(0, 0, 1)) {
		return store.Slot{}, fault.InvalidField(path+"request_cutoff", "lies after the ready day %s: requests must close before the compost is there", m.GetReadyDate())
	}
	if m.GetSmallestLotKg() > m.GetCapacityKg() {
		return store.Slot{}, fault.InvalidField(path+"smallest_lot_kg", "%d kg is more than the %d kg of the slot: nobody could have any", m.GetSmallestLotKg(), m.GetCapacityKg())
	}
	return store.Slot{
		ID: m.GetSlotId(), YardID: m.GetYardId(), ReadyDate: ready, Phase: int16(m.GetPhase()), CapacityKg: m.GetCapacityKg(),
		SmallestLotKg: m.GetSmallestLotKg(), PriceMinorPerTonne: m.GetPriceMinorPerTonne(), RequestCutoff: cutoff,
		State: store.SlotOpen, FreeKg: m.GetCapacityKg(), Version: 1,
	}, nil
}

// ListSlots implements CompostLotService.
func (s *Server) ListSlots(ctx context.Context, req *compostlotv1.ListSlotsRequest) (*compostlotv1.ListSlotsResponse, error) {
	from, to, err := span(req.GetFromDate(), req.GetToDate())
	if err != nil {
		return nil, err
	}
	resp := &compostlotv1.ListSlotsResponse{}
	return resp, s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		rows, err := store.ListSlots(ctx, tx, from, to, req.GetYardId())
		resp.Slots = convert(rows, slotMessage)
		return err
	})
}

var slotStates = map[string]compostlotv1.SlotState{
	store.SlotOpen:      compostlotv1.SlotState_SLOT_STATE_OPEN,
	store.SlotShared:    compostlotv1.SlotState_SLOT_STATE_SHARED,
	store.SlotWithdrawn: compostlotv1.SlotState_SLOT_STATE_WITHDRAWN,
}

func slotMessage(s store.Slot) *compostlotv1.Slot {
	return &compostlotv1.Slot{
		SlotId: s.ID, YardId: s.YardID, ReadyDate: dateText(s.ReadyDate), Phase: typev1.CompostPhase(s.Phase),
		CapacityKg: s.CapacityKg, SmallestLotKg: s.SmallestLotKg, PriceMinorPerTonne: s.PriceMinorPerTonne,
		RequestCutoff: timestamppb.New(s.RequestCutoff), State: slotStates[s.State], FreeKg: s.FreeKg, Etag: saving.Etag(s.Version),
		WithdrawalNotice: s.Notice, WithdrawnBy: s.WithdrawnBy, WithdrawnAt: optional(s.WithdrawnAt),
	}
}
