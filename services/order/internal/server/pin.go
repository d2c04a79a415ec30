package server

import (
	"context"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/requestlog"
)

// PinAllocation implements OrderService. The day is matched with and without the pin: a pin that
// cannot be is refused, and the difference is what it costs.
func (s *Server) PinAllocation(ctx context.Context, req *orderv1.PinAllocationRequest) (*orderv1.PinAllocationResponse, error) {
	number, err := dayNumber("pin.delivery_date", req.GetPin().GetDeliveryDate())
	if err != nil {
		return nil, err
	}
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.PinAllocationResponse{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.PinAllocationResponse, error) {
		if err := store.Take(ctx, tx, store.Book); err != nil {
			return nil, err
		}
		pin, err := s.pinIn(ctx, tx, req.GetPin())
		if err != nil {
			return nil, err
		}
		day, err := loadDay(ctx, tx, pin.Day, number)
		if err != nil {
			return nil, err
		}
		without, err := s.matchOnce(ctx, match.Run, day.day)
		if err != nil {
			return nil, asFault(err)
		}
		day.day.Pins = append(day.day.Pins, pinFor(pin))
		with, err := s.matchOnce(ctx, match.Run, day.day)
		if err != nil {
			return nil, asPinFault(err, pin)
		}
		resp := &orderv1.PinAllocationResponse{Pin: pinOut(pin), CostMinor: without.Value() - with.Value(), Effects: effects(without, with)}
		return resp, store.AddPin(ctx, tx, pin)
	})
}

// pinIn reads a new pin and refuses what makes no sense in itself.
func (s *Server) pinIn(ctx context.Context, tx pgx.Tx, p *orderv1.Pin) (store.Pin, error) {
	pin := store.Pin{
		ID: p.GetPinId(), Day: p.GetDeliveryDate(), Kind: int32(p.GetKind()), Order: p.GetOrderId(), Product: p.GetProductId(),
		Farm: p.GetFarmId(), Lot: p.GetPickLotId(), Packs: p.GetPacks(), Class: p.GetPriorityClass(), Reason: p.GetReason(),
		By: who(ctx), At: s.now(),
	}
	last, there, err := store.PinByID(ctx, tx, pin.ID)
	if err != nil {
		return pin, err
	}
	if there {
		return pin, fault.New(fault.Exists, "PIN_EXISTS", "pin %q is there already, made by %s: remove that one, or give this one an id of its own", pin.ID, last.By).
			WithField("pin.pin_id", "is taken: remove that pin, or give this one an id of its own")
	}
	order, err := orderByID(ctx, tx, pin.Order)
	if err != nil {
		return pin, err
	}
	if order.Day != pin.Day {
		return pin, fault.InvalidField("pin.delivery_date", "order %q is for %s", pin.Order, order.Day)
	}
	return pin, nil
}

// matchOnce matches a day whose steps nobody waits for.
func (s *Server) matchOnce(ctx context.Context, run runner, d match.Day) (match.Match, error) {
	ctx, cancel := context.WithTimeout(ctx, s.solveWithin)
	defer cancel()
	return run(ctx, d, nil)
}

// effects are the lines that get another number of packs; both matches have the same lines.
func effects(without, with match.Match) []*orderv1.PinEffect {
	var all []*orderv1.PinEffect
	for i, w := range with.Lines {
		if before := without.Lines[i].Matched; before != w.Matched {
			all = append(all, &orderv1.PinEffect{OrderId: w.Order, CustomerId: w.Customer, ProductId: w.Product, Without: before, With: w.Matched})
		}
	}
	return all
}

// RemovePin implements OrderService.
func (s *Server) RemovePin(ctx context.Context, req *orderv1.RemovePinRequest) (*orderv1.RemovePinResponse, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &orderv1.RemovePinResponse{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.RemovePinResponse, error) {
		if err := store.Take(ctx, tx, store.Book); err != nil {
			return nil, err
		}
		pin, there, err := store.PinByID(ctx, tx, req.GetPinId())
		if err != nil {
			return nil, err
		}
		if !there {
			return nil, notFound("pin", req.GetPinId())
		}
		return &orderv1.RemovePinResponse{Pin: pinOut(pin)}, store.RemovePin(ctx, tx, pin.ID)
	})
}

// ListPins implements OrderService.
func (s *Server) ListPins(ctx context.Context, req *orderv1.ListPinsRequest) (*orderv1.ListPinsResponse, error) {
	if _, err := dayNumber("delivery_date", req.GetDeliveryDate()); err != nil {
		return nil, err
	}
	resp := &orderv1.ListPinsResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		pins, err := store.PinsOfDay(ctx, tx, req.GetDeliveryDate())
		for _, p := range pins {
			resp.Pins = append(resp.Pins, pinOut(p))
		}
		return err
	})
	return resp, err
}

// pinFor is a pin as the rules have it.
func pinFor(p store.Pin) match.Pin {
	kinds := map[int32]match.PinKind{
		int32(orderv1.PinKind_PIN_KIND_PACKS): match.PinPacks, int32(orderv1.PinKind_PIN_KIND_FORBID): match.PinForbid,
		int32(orderv1.PinKind_PIN_KIND_RAISE): match.PinRaise,
	}
	return match.Pin{ID: p.ID, Kind: kinds[p.Kind], Order: p.Order, Product: p.Product, Farm: p.Farm, Lot: p.Lot, Packs: p.Packs, Class: int(p.Class)}
}

func pinOut(p store.Pin) *orderv1.Pin {
	return &orderv1.Pin{
		PinId: p.ID, DeliveryDate: p.Day, Kind: orderv1.PinKind(p.Kind), OrderId: p.Order, ProductId: p.Product, FarmId: p.Farm,
		PickLotId: p.Lot, Packs: p.Packs, PriorityClass: p.Class, Reason: p.Reason, MadeBy: p.By, MadeAt: timestamppb.New(p.At),
	}
}
