package fakecoop

import (
	"context"
	"slices"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

func (o *order) ExplainLine(_ context.Context, req *orderv1.ExplainLineRequest) (*orderv1.ExplainLineResponse, error) {
	return read(o.c, "ExplainLine", func() (*orderv1.ExplainLineResponse, error) {
		for _, l := range o.c.Match.GetLines() {
			if l.GetOrderId() != req.GetOrderId() || l.GetProductId() != req.GetProductId() || req.GetMatchId() != o.c.Match.GetMatchId() {
				continue
			}
			res := &orderv1.ExplainLineResponse{Line: proto.CloneOf(l)}
			for _, p := range o.c.Match.GetProducts() {
				if p.GetProductId() == l.GetProductId() {
					res.Product = proto.CloneOf(p)
				}
			}
			for _, a := range o.c.Match.GetAllocations() {
				if a.GetOrderId() == l.GetOrderId() && a.GetProductId() == l.GetProductId() {
					res.Allocations = append(res.Allocations, proto.CloneOf(a))
				}
			}
			return res, nil
		}
		return nil, notFound("line", req.GetOrderId()+" "+req.GetProductId())
	})
}

func (o *order) PinAllocation(ctx context.Context, req *orderv1.PinAllocationRequest) (*orderv1.PinAllocationResponse, error) {
	return once(o.c, "PinAllocation", req, func() (*orderv1.PinAllocationResponse, error) {
		pin := proto.CloneOf(req.GetPin())
		if pin.GetPacks() > 36 {
			return nil, fault.InvalidField("pin.packs", "only 36 packs of it are offered")
		}
		pin.MadeBy, pin.MadeAt = identity.Must(ctx).Name, at(Today, 14)
		o.c.Pins = append(o.c.Pins, pin)
		return &orderv1.PinAllocationResponse{Pin: pin, CostMinor: 1_800, Effects: []*orderv1.PinEffect{
			{OrderId: "copper-pan-20261126", CustomerId: "copper-pan", ProductId: pin.GetProductId(), Without: 30, With: 26},
			{OrderId: "harbour-light-20261126", CustomerId: "harbour-light", ProductId: pin.GetProductId(), Without: 6, With: 10},
		}}, nil
	})
}

func (o *order) ListPins(_ context.Context, req *orderv1.ListPinsRequest) (*orderv1.ListPinsResponse, error) {
	return read(o.c, "ListPins", func() (*orderv1.ListPinsResponse, error) {
		res := &orderv1.ListPinsResponse{}
		for _, p := range o.c.Pins {
			if p.GetDeliveryDate() == req.GetDeliveryDate() {
				res.Pins = append(res.Pins, proto.CloneOf(p))
			}
		}
		return res, nil
	})
}

func (o *order) GetSeason(context.Context, *orderv1.GetSeasonRequest) (*orderv1.GetSeasonResponse, error) {
	return read(o.c, "GetSeason", func() (*orderv1.GetSeasonResponse, error) {
		return &orderv1.GetSeasonResponse{FromDate: "2026-09-01", Farms: []*orderv1.FarmSeason{
			{FarmId: "alder-brook", Offered: 2_000, Matched: 1_700, Ahead: 40}, {FarmId: "birch-hollow", Offered: 1_000, Matched: 770, Ahead: -40},
		}}, nil
	})
}

func (o *order) RemovePin(_ context.Context, req *orderv1.RemovePinRequest) (*orderv1.RemovePinResponse, error) {
	return once(o.c, "RemovePin", req, func() (*orderv1.RemovePinResponse, error) {
		for i, p := range o.c.Pins {
			if p.GetPinId() == req.GetPinId() {
				o.c.Pins = slices.Delete(o.c.Pins, i, i+1)
				return &orderv1.RemovePinResponse{Pin: p}, nil
			}
		}
		return nil, notFound("pin", req.GetPinId())
	})
}

func (o *order) Rebalance(req *orderv1.RebalanceRequest, stream grpc.ServerStreamingServer[orderv1.RebalanceResponse]) error {
	if err := o.c.enter("Rebalance"); err != nil {
		return err
	}
	o.c.mu.Lock()
	match := proto.CloneOf(o.c.Match)
	o.c.mu.Unlock()
	if match.GetState() != orderv1.MatchState_MATCH_STATE_CONFIRMED || req.GetDeliveryDate() != match.GetDeliveryDate() {
		return fault.New(fault.Precondition, "NOT_CONFIRMED", "No match of the day is confirmed.")
	}
	if err := stream.Send(&orderv1.RebalanceResponse{Step: orderv1.MatchStep_MATCH_STEP_SOLVING}); err != nil {
		return err
	}
	match.MatchId, match.State, match.RebalancedFrom = "m-2", orderv1.MatchState_MATCH_STATE_PROPOSED, "m-1"
	changes := func(before, after int64) *orderv1.AllocationChange {
		return &orderv1.AllocationChange{
			OrderId: "harbour-light-20261126", CustomerId: "harbour-light", ProductId: "white-closed-2kg", FarmId: "alder-brook", RoomId: "alder-brook-1",
			PickLotId: lotCode("alder-brook-1", "white-closed-2kg", Tomorrow), Before: before, After: after,
		}
	}
	all := []*orderv1.AllocationChange{changes(6, 4), changes(0, 3), changes(2, 0)}
	res := &orderv1.RebalanceResponse{Step: orderv1.MatchStep_MATCH_STEP_DONE, Match: match}
	if !o.c.Calm {
		res.Farms, res.Customers = []*orderv1.Changes{{Id: "alder-brook", Changes: all}}, []*orderv1.Changes{{Id: "harbour-light", Changes: all}}
	}
	return stream.Send(res)
}
