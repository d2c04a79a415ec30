package server

import (
	"context"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/identity"
)

// TraceBack implements OrderService. A grower sees packs of the own farm, a buyer those of the
// own kitchen.
func (s *Server) TraceBack(ctx context.Context, req *orderv1.TraceBackRequest) (*orderv1.TraceBackResponse, error) {
	id := identity.Must(ctx)
	var pack store.Pack
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		var found bool
		var err error
		if pack, found, err = store.PackByID(ctx, tx, req.GetPackId()); err == nil && !found {
			return notFound("pack", req.GetPackId())
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	if err := ownFarm(id, pack.Farm); err != nil {
		return nil, err
	}
	if err := ownCustomer(id, pack.Customer); err != nil {
		return nil, err
	}
	origin, err := s.harvest.TraceBack(asService(ctx), &harvestv1.TraceBackRequest{PickLotId: pack.Lot})
	if err != nil {
		return nil, err
	}
	return &orderv1.TraceBackResponse{Pack: packOut(pack), PickLot: origin.GetPickLot(), Crop: origin.GetCrop()}, nil
}

// TraceForward implements OrderService.
func (s *Server) TraceForward(ctx context.Context, req *orderv1.TraceForwardRequest) (*orderv1.TraceForwardResponse, error) {
	grown, err := s.harvest.TraceForward(asService(ctx), &harvestv1.TraceForwardRequest{CompostLotId: req.GetCompostLotId()})
	if err != nil {
		return nil, err
	}
	resp := &orderv1.TraceForwardResponse{Compost: grown.GetCompost(), Crops: grown.GetCrops(), PickLots: grown.GetPickLots()}
	var lots []string
	for _, l := range grown.GetPickLots() {
		lots = append(lots, l.GetPickLotId())
	}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		packs, err := store.PacksOfLots(ctx, tx, lots)
		for _, p := range packs {
			resp.Packs = append(resp.Packs, packOut(p))
		}
		return err
	})
	return resp, err
}

// asService asks another service in the name of this one: whether the caller may see the answer
// was settled here.
func asService(ctx context.Context) context.Context {
	return identity.With(ctx, identity.Identity{CoopID: identity.Must(ctx).CoopID, Role: identity.Service, Name: "order"})
}

func packOut(p store.Pack) *orderv1.Pack {
	out := &orderv1.Pack{
		PackId: p.ID, PickLotId: p.Lot, ProductId: p.Product, FarmId: p.Farm, CustomerId: p.Customer, OrderId: p.Order,
		DeliveryDate: p.Day, State: orderv1.DeliveryState_DELIVERY_STATE_DISPATCHED,
	}
	if p.Confirmed {
		out.State = orderv1.DeliveryState_DELIVERY_STATE_CONFIRMED
	}
	return out
}
