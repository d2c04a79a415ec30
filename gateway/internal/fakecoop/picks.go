package fakecoop

import (
	"context"
	"slices"

	"google.golang.org/protobuf/proto"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	typev1 "breakshare.example/proto/gen/breakshare/type/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// weighedToday is what was weighed before anybody visits: one weighing put right, and one sorted.
func weighedToday() []*harvestv1.Pick {
	pick := func(id string, hour int, gross int64) *harvestv1.Pick {
		return &harvestv1.Pick{
			PickId: id, RoomId: "alder-brook-1", ProductId: "white-closed-2kg", Date: Today, GrossGrams: gross, TareGrams: 2_000, Crates: 4, Picker: "Mara",
			RecordedAt: at(Today, hour), RecordedBy: "Una",
		}
	}
	wrong, right, sorted := pick("w-1", 7, 620_000), pick("w-2", 8, 62_000), pick("w-3", 9, 22_000)
	right.CorrectsPickId, right.CorrectionReason, right.RecordedBy, right.StoreId = "w-1", "a nought too many", "Piotr", "alder-brook-cold"
	right.BreakNumber = proto.Int32(3)
	sorted.BreakNumber, sorted.BreakProposed = proto.Int32(2), true
	sorted.Parts = []*harvestv1.PickPart{{PickStage: typev1.PickStage_PICK_STAGE_CLOSED, Grade: "first", Grams: 15_000}, {PickStage: typev1.PickStage_PICK_STAGE_OPEN, Grams: 4_000}}
	return []*harvestv1.Pick{wrong, right, sorted}
}

// picks are all entries in the order recorded.
func (c *Coop) picks() []*harvestv1.Pick { return slices.Concat(c.Weighed, c.Picks) }

// inPlaceOf is the entry that took a weighing's place; nil where it stands.
func (c *Coop) inPlaceOf(id string) *harvestv1.Pick {
	for _, p := range c.picks() {
		if id != "" && p.GetCorrectsPickId() == id {
			return p
		}
	}
	return nil
}

// record writes an entry down.
func (h *harvest) record(ctx context.Context, p *harvestv1.Pick) *harvestv1.Pick {
	p.PickId, p.RecordedBy, p.RecordedAt = "p-"+itoa(len(h.c.Picks)+1), identity.Must(ctx).Name, at(Today, 14)
	h.c.Picks = append(h.c.Picks, p)
	return p
}

// judgePick refuses what contradicts itself.
func judgePick(p *harvestv1.Pick) error {
	net := p.GetGrossGrams() - p.GetTareGrams()
	if net <= 0 {
		return fault.InvalidField("pick.tare_grams", "the tare must be less than the gross weight")
	}
	for _, part := range p.GetParts() {
		net -= part.GetGrams()
	}
	if net < 0 {
		return fault.InvalidField("pick.parts", "the parts weigh more than the mushrooms")
	}
	return nil
}

// CorrectPick leaves what it corrects written down.
func (h *harvest) CorrectPick(ctx context.Context, req *harvestv1.CorrectPickRequest) (*harvestv1.CorrectPickResponse, error) {
	return once(h.c, "CorrectPick", req, func() (*harvestv1.CorrectPickResponse, error) {
		all := h.c.picks()
		i := slices.IndexFunc(all, func(p *harvestv1.Pick) bool { return p.GetPickId() == req.GetPickId() })
		if i < 0 {
			return nil, notFound("weighing", req.GetPickId())
		}
		if by := h.c.inPlaceOf(req.GetPickId()); by != nil {
			return nil, fault.New(fault.Precondition, "CORRECTED_ALREADY", "weighing %s was corrected already: correct %s, which took its place", req.GetPickId(), by.GetPickId())
		}
		old := all[i]
		fresh := &harvestv1.Pick{RoomId: old.GetRoomId(), ProductId: old.GetProductId(), Date: old.GetDate(), Picker: old.GetPicker()}
		if p := req.GetPick(); p != nil {
			if p.GetRoomId() != old.GetRoomId() || p.GetProductId() != old.GetProductId() || p.GetDate() != old.GetDate() {
				return nil, fault.InvalidField("pick.room_id", "the weighing is of another lot")
			}
			if err := judgePick(p); err != nil {
				return nil, err
			}
			fresh = proto.CloneOf(p)
			if fresh.BreakNumber == nil {
				fresh.BreakNumber, fresh.BreakProposed = old.BreakNumber, old.BreakProposed
			}
		}
		fresh.CorrectsPickId, fresh.CorrectionReason = req.GetPickId(), req.GetReason()
		return &harvestv1.CorrectPickResponse{Pick: h.record(ctx, fresh), PickLot: h.lot(old.GetRoomId(), old.GetProductId(), old.GetDate())}, nil
	})
}

func (h *harvest) ListPicks(_ context.Context, req *harvestv1.ListPicksRequest) (*harvestv1.ListPicksResponse, error) {
	return read(h.c, "ListPicks", func() (*harvestv1.ListPicksResponse, error) {
		res := &harvestv1.ListPicksResponse{}
		seen := map[string]bool{}
		for _, p := range h.c.picks() {
			id := lotCode(p.GetRoomId(), p.GetProductId(), p.GetDate())
			if id != req.GetPickLotId() && (p.GetDate() < req.GetFromDate() || p.GetDate() > req.GetToDate()) {
				continue
			}
			res.Picks = append(res.Picks, p)
			if !seen[id] {
				seen[id] = true
				res.PickLots = append(res.PickLots, h.lot(p.GetRoomId(), p.GetProductId(), p.GetDate()))
			}
		}
		return res, nil
	})
}
