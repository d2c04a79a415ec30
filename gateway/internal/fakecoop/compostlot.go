package fakecoop

import (
	"context"
	"fmt"
	"io"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	"breakshare.example/services/platform/fault"
)

type compostlot struct {
	compostlotv1.UnimplementedCompostLotServiceServer
	c *Coop
}

func (l *compostlot) ListYards(context.Context, *compostlotv1.ListYardsRequest) (*compostlotv1.ListYardsResponse, error) {
	return read(l.c, "ListYards", func() (*compostlotv1.ListYardsResponse, error) {
		return &compostlotv1.ListYardsResponse{Yards: l.c.Yards}, nil
	})
}

func (l *compostlot) ListSlots(_ context.Context, req *compostlotv1.ListSlotsRequest) (*compostlotv1.ListSlotsResponse, error) {
	return read(l.c, "ListSlots", func() (*compostlotv1.ListSlotsResponse, error) {
		res := &compostlotv1.ListSlotsResponse{}
		for _, s := range l.c.Slots {
			if s.GetReadyDate() >= req.GetFromDate() && s.GetReadyDate() <= req.GetToDate() {
				res.Slots = append(res.Slots, s)
			}
		}
		return res, nil
	})
}

func (l *compostlot) PublishSlots(_ context.Context, req *compostlotv1.PublishSlotsRequest) (*compostlotv1.PublishSlotsResponse, error) {
	return once(l.c, "PublishSlots", req, func() (*compostlotv1.PublishSlotsResponse, error) {
		for i, s := range req.GetSlots() {
			for _, old := range l.c.Slots {
				if old.GetSlotId() == s.GetSlotId() {
					return nil, fault.New(fault.Exists, "SLOT_EXISTS", "Slot %s is published already.", s.GetSlotId()).WithField(fmt.Sprintf("slots[%d].slot_id", i), "is published already")
				}
			}
		}
		res := &compostlotv1.PublishSlotsResponse{}
		for _, s := range req.GetSlots() {
			slot := proto.CloneOf(s)
			slot.State, slot.FreeKg = compostlotv1.SlotState_SLOT_STATE_OPEN, s.GetCapacityKg()
			l.c.Slots, res.Slots = append(l.c.Slots, slot), append(res.Slots, slot)
		}
		return res, nil
	})
}

func (l *compostlot) ListCompostRequests(context.Context, *compostlotv1.ListCompostRequestsRequest) (*compostlotv1.ListCompostRequestsResponse, error) {
	return read(l.c, "ListCompostRequests", func() (*compostlotv1.ListCompostRequestsResponse, error) {
		return &compostlotv1.ListCompostRequestsResponse{CompostRequests: l.c.Requests, Shares: l.c.Shares}, nil
	})
}

func (l *compostlot) RequestCompost(_ context.Context, req *compostlotv1.RequestCompostRequest) (*compostlotv1.CompostRequest, error) {
	return once(l.c, "RequestCompost", req, func() (*compostlotv1.CompostRequest, error) {
		l.c.Requests = append(l.c.Requests, req.GetCompostRequest())
		return req.GetCompostRequest(), nil
	})
}

func (l *compostlot) ShareOut(_ context.Context, req *compostlotv1.ShareOutRequest) (*compostlotv1.Round, error) {
	return once(l.c, "ShareOut", req, func() (*compostlotv1.Round, error) {
		round := &compostlotv1.Round{SlotIds: []string{"quarry-end-20261207"}}
		for i, granted := range []int64{22000, 18000} {
			r := l.c.Requests[i]
			round.Shares = append(round.Shares, &compostlotv1.Share{
				CompostRequestId: r.GetCompostRequestId(), FarmId: r.GetFarmId(), RoomId: r.GetRoomId(), WantedKg: r.GetWantedKg(), GrantedKg: granted,
				Slots: []*compostlotv1.ShareSlot{{SlotId: "quarry-end-20261207", GrantedKg: granted}},
				Limit: compostlotv1.ShareLimit_SHARE_LIMIT_SLOTS_FULL, Explanation: "Every slot inside the window is full.",
			})
		}
		if req.GetConfirm() {
			round.RoundId, round.ConfirmedBy = "round-1", "Una"
			l.c.Shares = round.GetShares()
			l.c.Slots[1].State = compostlotv1.SlotState_SLOT_STATE_SHARED
		}
		return round, nil
	})
}

func (l *compostlot) ListLots(context.Context, *compostlotv1.ListLotsRequest) (*compostlotv1.ListLotsResponse, error) {
	return read(l.c, "ListLots", func() (*compostlotv1.ListLotsResponse, error) {
		res := &compostlotv1.ListLotsResponse{}
		for _, r := range l.c.Reports {
			res.Lots = append(res.Lots, proto.CloneOf(r.GetLot()))
		}
		return res, nil
	})
}

func (l *compostlot) report(id string) (*compostlotv1.LotReport, error) {
	for _, r := range l.c.Reports {
		if r.GetLot().GetLotId() == id {
			return r, nil
		}
	}
	return nil, notFound("lot", id)
}

func (l *compostlot) GetLotReport(_ context.Context, req *compostlotv1.GetLotReportRequest) (*compostlotv1.LotReport, error) {
	return read(l.c, "GetLotReport", func() (*compostlotv1.LotReport, error) {
		r, err := l.report(req.GetLotId())
		return proto.CloneOf(r), err
	})
}

func (l *compostlot) ReleaseLot(_ context.Context, req *compostlotv1.ReleaseLotRequest) (*compostlotv1.Lot, error) {
	return once(l.c, "ReleaseLot", req, func() (*compostlotv1.Lot, error) {
		r, err := l.report(req.GetLotId())
		if err != nil {
			return nil, err
		}
		if req.GetEtag() != r.GetLot().GetEtag() {
			return nil, fault.New(fault.Stale, "LOT_CHANGED", "Lot %s was held by Hugh at 13:20.", req.GetLotId())
		}
		if !r.GetProven() && req.GetExceptionReason() == "" {
			return nil, fault.New(fault.Precondition, "NOT_PROVEN", "Ammonia is not proven.").WithField("ammonia", "no reading after cooling")
		}
		r.Lot.State, r.Lot.ReleasedBy, r.Lot.ExceptionReason, r.Lot.Etag = compostlotv1.LotState_LOT_STATE_RELEASED, req.GetReleasedBy(), req.GetExceptionReason(), "2"
		return proto.CloneOf(r.GetLot()), nil
	})
}

func (l *compostlot) HoldLot(_ context.Context, req *compostlotv1.HoldLotRequest) (*compostlotv1.Lot, error) {
	return once(l.c, "HoldLot", req, func() (*compostlotv1.Lot, error) {
		r, err := l.report(req.GetLotId())
		if err != nil {
			return nil, err
		}
		r.Lot.State, r.Lot.HoldReason, r.Lot.Etag = compostlotv1.LotState_LOT_STATE_HELD, req.GetReason(), "3"
		return proto.CloneOf(r.GetLot()), nil
	})
}

func (l *compostlot) DeliverLot(_ context.Context, req *compostlotv1.DeliverLotRequest) (*compostlotv1.LotDelivery, error) {
	return once(l.c, "DeliverLot", req, func() (*compostlotv1.LotDelivery, error) {
		r, err := l.report(req.GetLotId())
		if err != nil {
			return nil, err
		}
		if req.GetDeliveredKg() > r.GetLot().GetRemainingKg() {
			return nil, fault.InvalidField("delivered_kg", "only %d kg are left of the lot", r.GetLot().GetRemainingKg())
		}
		d := &compostlotv1.LotDelivery{DeliveryId: "d-1", LotId: req.GetLotId(), FarmId: req.GetFarmId(), RoomId: req.GetRoomId(), DeliveredKg: req.GetDeliveredKg(), Date: Today}
		r.Lot.RemainingKg -= req.GetDeliveredKg()
		r.Deliveries = append(r.Deliveries, d)
		return d, nil
	})
}

func (l *compostlot) RecordReadings(stream grpc.ClientStreamingServer[compostlotv1.RecordReadingsRequest, compostlotv1.RecordReadingsResponse]) error {
	if err := l.c.enter("RecordReadings"); err != nil {
		return err
	}
	res := &compostlotv1.RecordReadingsResponse{}
	var all []*compostlotv1.Reading
	for {
		req, err := stream.Recv()
		if err == io.EOF {
			l.c.mu.Lock()
			l.c.Stored = append(l.c.Stored, all...)
			l.c.mu.Unlock()
			return stream.SendAndClose(res)
		}
		if err != nil {
			return err
		}
		for i, r := range req.GetReadings() {
			if r.GetProbeId() == "p99" {
				return fault.New(fault.Exists, "READING_DIFFERS", "Probe p99 read something else.").WithField(fmt.Sprintf("readings[%d].value_thousandths", res.GetStored()+int64(i)), "read 57.0 °C before")
			}
		}
		res.Stored += int64(len(req.GetReadings()))
		all = append(all, req.GetReadings()...)
	}
}
