package fakecoop

import (
	"context"

	"google.golang.org/protobuf/proto"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

type harvest struct {
	harvestv1.UnimplementedHarvestServiceServer
	c *Coop
}

func (h *harvest) PushExpectedPicks(ctx context.Context, req *harvestv1.PushExpectedPicksRequest) (*harvestv1.PushExpectedPicksResponse, error) {
	return once(h.c, "PushExpectedPicks", req, func() (*harvestv1.PushExpectedPicksResponse, error) {
		var bad *fault.Error
		for i, e := range req.GetExpectedPicks() {
			if e.GetLowGrams() > e.GetLikelyGrams() || e.GetLikelyGrams() > e.GetHighGrams() {
				path := "expected_picks[" + itoa(i) + "].low_grams"
				bad = fault.InvalidField(path, "least, likely and most must rise: %d, %d, %d g", e.GetLowGrams(), e.GetLikelyGrams(), e.GetHighGrams())
			}
		}
		if bad != nil {
			return nil, bad
		}
		for i, e := range req.GetExpectedPicks() {
			if e.GetHighGrams() > 2_000_000 && !req.GetConfirmLarge() {
				return nil, fault.InvalidField("expected_picks["+itoa(i)+"].high_grams", "is more than the room can bear: correct it, or confirm it")
			}
		}
		if bad = h.meanwhile(req.GetExpectedPicks()); bad != nil {
			return nil, bad
		}
		res := &harvestv1.PushExpectedPicksResponse{}
		for _, e := range req.GetExpectedPicks() {
			res.ExpectedPicks = append(res.ExpectedPicks, h.store(identity.Must(ctx), e))
		}
		return res, nil
	})
}

// Push has somebody else push a figure for tomorrow.
func (c *Coop) Push(who identity.Identity, room, product string, low, likely, high int64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	who.FarmID = "alder-brook"
	(&harvest{c: c}).store(who, &harvestv1.ExpectedPick{RoomId: room, ProductId: product, Date: Tomorrow, LowGrams: low, LikelyGrams: likely, HighGrams: high})
}

// meanwhile refuses figures made from others than the newest.
func (h *harvest) meanwhile(sent []*harvestv1.ExpectedPick) (bad *fault.Error) {
	for i, e := range sent {
		for _, old := range h.c.Expected {
			if e.BaseVersion == nil || old.GetSource() == harvestv1.ExpectedPickSource_EXPECTED_PICK_SOURCE_FORECAST || old.GetRoomId() != e.GetRoomId() || old.GetProductId() != e.GetProductId() || old.GetDate() != e.GetDate() {
				continue
			}
			same := old.GetLowGrams() == e.GetLowGrams() && old.GetLikelyGrams() == e.GetLikelyGrams() && old.GetHighGrams() == e.GetHighGrams()
			if old.GetVersion() != e.GetBaseVersion() && !same {
				bad = fault.New(fault.Stale, "PUSHED_MEANWHILE", "pushed meanwhile").WithField("expected_picks["+itoa(i)+"].base_version", "is old")
			}
		}
	}
	return bad
}

func (h *harvest) store(who identity.Identity, e *harvestv1.ExpectedPick) *harvestv1.ExpectedPick {
	stored := expected(e.GetRoomId(), who.FarmID, e.GetProductId(), e.GetDate(), e.GetLowGrams(), e.GetLikelyGrams(), e.GetHighGrams())
	stored.PushedBy, stored.Late = who.Name, h.c.AfterCutOff
	for i, old := range h.c.Expected {
		if old.GetRoomId() == e.GetRoomId() && old.GetProductId() == e.GetProductId() && old.GetDate() == e.GetDate() {
			stored.Version = old.GetVersion() + 1
			h.c.Expected[i] = stored
			return stored
		}
	}
	h.c.Expected = append(h.c.Expected, stored)
	return stored
}

func (h *harvest) ListExpectedPicks(_ context.Context, req *harvestv1.ListExpectedPicksRequest) (*harvestv1.ListExpectedPicksResponse, error) {
	return read(h.c, "ListExpectedPicks", func() (*harvestv1.ListExpectedPicksResponse, error) {
		res := &harvestv1.ListExpectedPicksResponse{}
		for _, e := range h.c.Expected {
			if (req.GetFarmId() == "" || e.GetFarmId() == req.GetFarmId()) && e.GetDate() >= req.GetFromDate() && e.GetDate() <= req.GetToDate() {
				res.ExpectedPicks = append(res.ExpectedPicks, proto.CloneOf(e))
			}
		}
		return res, nil
	})
}

func (h *harvest) ListOutlooks(_ context.Context, req *harvestv1.ListOutlooksRequest) (*harvestv1.ListOutlooksResponse, error) {
	return read(h.c, "ListOutlooks", func() (*harvestv1.ListOutlooksResponse, error) {
		return &harvestv1.ListOutlooksResponse{Outlooks: h.c.Outlooks}, nil
	})
}

func (h *harvest) GetScores(context.Context, *harvestv1.GetScoresRequest) (*harvestv1.GetScoresResponse, error) {
	return read(h.c, "GetScores", func() (*harvestv1.GetScoresResponse, error) {
		return h.c.Scores, nil
	})
}

func (h *harvest) GetSupply(_ context.Context, req *harvestv1.GetSupplyRequest) (*harvestv1.GetSupplyResponse, error) {
	return read(h.c, "GetSupply", func() (*harvestv1.GetSupplyResponse, error) {
		return &harvestv1.GetSupplyResponse{Days: []*harvestv1.SupplyDay{
			{Date: req.GetFromDate(), ProductId: "oyster-1kg", LowGrams: 30_000, LikelyGrams: 40_000, HighGrams: 52_000},
			{Date: req.GetFromDate(), ProductId: "white-closed-2kg", LowGrams: 60_000, LikelyGrams: 72_500, HighGrams: 85_000},
		}}, nil
	})
}

func (h *harvest) RecordPick(ctx context.Context, req *harvestv1.RecordPickRequest) (*harvestv1.RecordPickResponse, error) {
	return once(h.c, "RecordPick", req, func() (*harvestv1.RecordPickResponse, error) {
		if err := judgePick(req.GetPick()); err != nil {
			return nil, err
		}
		pick := h.record(ctx, proto.CloneOf(req.GetPick()))
		return &harvestv1.RecordPickResponse{Pick: pick, PickLot: h.lot(pick.GetRoomId(), pick.GetProductId(), pick.GetDate())}, nil
	})
}

func (h *harvest) lot(room, product, date string) *harvestv1.PickLot {
	lot := &harvestv1.PickLot{PickLotId: lotCode(room, product, date), RoomId: room, ProductId: product, Date: date, FarmId: "alder-brook", Version: 1}
	for _, p := range h.c.picks() {
		if p.GetRoomId() == room && p.GetProductId() == product && p.GetDate() == date && h.c.inPlaceOf(p.GetPickId()) == nil {
			lot.NetGrams += p.GetGrossGrams() - p.GetTareGrams()
		}
	}
	return lot
}

func (h *harvest) ListPickLots(_ context.Context, req *harvestv1.ListPickLotsRequest) (*harvestv1.ListPickLotsResponse, error) {
	return read(h.c, "ListPickLots", func() (*harvestv1.ListPickLotsResponse, error) {
		res := &harvestv1.ListPickLotsResponse{}
		seen := map[string]bool{}
		for _, p := range h.c.picks() {
			lot := h.lot(p.GetRoomId(), p.GetProductId(), p.GetDate())
			if p.GetDate() >= req.GetFromDate() && p.GetDate() <= req.GetToDate() && !seen[lot.GetPickLotId()] {
				seen[lot.GetPickLotId()] = true
				res.PickLots = append(res.PickLots, lot)
			}
		}
		return res, nil
	})
}

func (h *harvest) TraceBack(_ context.Context, req *harvestv1.TraceBackRequest) (*harvestv1.TraceBackResponse, error) {
	return read(h.c, "harvest.TraceBack", func() (*harvestv1.TraceBackResponse, error) {
		for _, lot := range h.c.Trace.GetPickLots() {
			if lot.GetPickLotId() == req.GetPickLotId() {
				return &harvestv1.TraceBackResponse{PickLot: lot, Crop: h.c.cropTrace(lot.GetCropId())}, nil
			}
		}
		return nil, notFound("pick lot", req.GetPickLotId())
	})
}

func (c *Coop) cropTrace(id string) *harvestv1.CropTrace {
	for _, crop := range c.Trace.GetCrops() {
		if crop.GetCropId() == id {
			return crop
		}
	}
	return nil
}
