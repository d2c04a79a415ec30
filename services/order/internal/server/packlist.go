package server

import (
	"cmp"
	"context"
	"slices"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// GetPackList implements OrderService. A grower sees the own farm's.
func (s *Server) GetPackList(ctx context.Context, req *orderv1.GetPackListRequest) (*orderv1.PackList, error) {
	if err := ownFarm(identity.Must(ctx), req.GetFarmId()); err != nil {
		return nil, err
	}
	if _, err := dayNumber("delivery_date", req.GetDeliveryDate()); err != nil {
		return nil, err
	}
	list := &orderv1.PackList{FarmId: req.GetFarmId(), DeliveryDate: req.GetDeliveryDate()}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		m, found, err := store.ConfirmedMatch(ctx, tx, req.GetDeliveryDate())
		if err != nil {
			return err
		}
		if !found {
			return fault.New(fault.NotFound, "NO_CONFIRMED_MATCH", "no match is confirmed for %s yet: pack lists come from a confirmed match", req.GetDeliveryDate())
		}
		list.MatchId = m.ID
		allocations, err := store.Allocations(ctx, tx, m.ID, req.GetFarmId())
		if err != nil {
			return err
		}
		list.Lines, err = packLines(ctx, tx, allocations)
		return err
	})
	return list, err
}

// packLines puts names and weights to allocations, by room, customer, product and lot.
func packLines(ctx context.Context, tx pgx.Tx, allocations []store.Allocation) ([]*orderv1.PackListLine, error) {
	customers, products, err := named(ctx, tx, allocations)
	if err != nil {
		return nil, err
	}
	lines := make([]*orderv1.PackListLine, len(allocations))
	for i, a := range allocations {
		lines[i] = &orderv1.PackListLine{
			RoomId: a.Room, CustomerId: a.Customer, CustomerName: customers[a.Customer].Name, OrderId: a.Order,
			ProductId: a.Product, ProductName: products[a.Packed].Name, PackGrams: products[a.Packed].PackGrams, PackedProductId: a.Packed,
			PickLotId: a.Lot, Packs: a.Packs,
		}
	}
	slices.SortStableFunc(lines, func(a, b *orderv1.PackListLine) int {
		return cmp.Or(cmp.Compare(a.RoomId, b.RoomId), cmp.Compare(a.CustomerId, b.CustomerId), cmp.Compare(a.ProductId, b.ProductId),
			cmp.Compare(a.PickLotId, b.PickLotId), cmp.Compare(a.OrderId, b.OrderId))
	})
	return lines, nil
}

// named reads the customers and products of allocations.
func named(ctx context.Context, tx pgx.Tx, allocations []store.Allocation) (map[string]store.Customer, map[string]store.Product, error) {
	var customerIDs, productIDs []string
	for _, a := range allocations {
		customerIDs, productIDs = append(customerIDs, a.Customer), append(productIDs, a.Packed)
	}
	customers, err := store.CustomersByID(ctx, tx, customerIDs)
	if err != nil {
		return nil, nil, err
	}
	products, err := store.ProductsByID(ctx, tx, productIDs)
	return customers, products, err
}
