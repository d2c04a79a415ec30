package server

import (
	"cmp"
	"context"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/match"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
)

// Rebalance implements OrderService.
func (s *Server) Rebalance(req *orderv1.RebalanceRequest, stream grpc.ServerStreamingServer[orderv1.RebalanceResponse]) error {
	if _, err := dayNumber("delivery_date", req.GetDeliveryDate()); err != nil {
		return err
	}
	step := func(step orderv1.MatchStep) error { return stream.Send(&orderv1.RebalanceResponse{Step: step}) }
	done, err := requestlog.Once(stream.Context(), s.pool, req.GetRequestId(), req, &orderv1.RebalanceResponse{}, func(ctx context.Context, tx pgx.Tx) (*orderv1.RebalanceResponse, error) {
		if err := step(orderv1.MatchStep_MATCH_STEP_LOADING); err != nil {
			return nil, err
		}
		before, found, err := store.ConfirmedMatch(ctx, tx, req.GetDeliveryDate())
		if err != nil {
			return nil, err
		}
		if !found {
			return nil, fault.New(fault.Precondition, "NO_CONFIRMED_MATCH", "no match is confirmed for %s: run and confirm one first", req.GetDeliveryDate()).
				WithField("day "+req.GetDeliveryDate(), "has no confirmed match")
		}
		day, stood, err := dayAfter(ctx, tx, before)
		if err != nil {
			return nil, err
		}
		key := confirmed{identity.Must(ctx).CoopID, before.ID}.key()
		at := s.sessions.take(key)
		best, err := s.solve(ctx, at.whole.Run, day.day, step)
		if err != nil {
			return nil, asFault(err)
		}
		stored, err := s.keep(ctx, tx, best, day, &before.ID, at.unpinned.Run)
		if err != nil {
			return nil, err
		}
		s.sessions.put(key, at)
		farms, customers := changed(stood, stored.Allocations)
		return &orderv1.RebalanceResponse{Step: orderv1.MatchStep_MATCH_STEP_DONE, Match: matchOut(stored), Farms: farms, Customers: customers}, nil
	})
	if err != nil {
		return err
	}
	return stream.Send(done)
}

// keptOf is what stood, without what has left.
func keptOf(stood []store.Allocation, sent []match.Sent) []match.Sent {
	left := make(map[match.Sent]int64, len(sent))
	for _, s := range sent {
		packs := s.Packs
		s.Packs = 0
		left[s] += packs
	}
	var all []match.Sent
	for _, a := range stood {
		pair := match.Sent{Order: a.Order, Product: a.Product, Lot: a.Lot}
		packs := a.Packs - left[pair]
		if pair.Packs = packs; packs > 0 {
			all = append(all, pair)
		}
	}
	return all
}

// changed lists what is otherwise than before, by farm and by customer.
func changed(before, after []store.Allocation) (farms, customers []*orderv1.Changes) {
	type pair struct{ order, product, lot string }
	all := make(map[pair]*orderv1.AllocationChange)
	of := func(a store.Allocation) *orderv1.AllocationChange {
		key := pair{a.Order, a.Product, a.Lot}
		if all[key] == nil {
			all[key] = &orderv1.AllocationChange{
				OrderId: a.Order, CustomerId: a.Customer, ProductId: a.Product, PickLotId: a.Lot, FarmId: a.Farm, RoomId: a.Room,
			}
		}
		return all[key]
	}
	for _, a := range before {
		of(a).Before = a.Packs
	}
	for _, a := range after {
		of(a).After = a.Packs
	}
	var list []*orderv1.AllocationChange
	for _, c := range all {
		if c.GetBefore() != c.GetAfter() {
			list = append(list, c)
		}
	}
	slices.SortFunc(list, func(a, b *orderv1.AllocationChange) int {
		return cmp.Or(cmp.Compare(a.GetOrderId(), b.GetOrderId()), cmp.Compare(a.GetProductId(), b.GetProductId()), cmp.Compare(a.GetPickLotId(), b.GetPickLotId()))
	})
	return grouped(list, (*orderv1.AllocationChange).GetFarmId), grouped(list, (*orderv1.AllocationChange).GetCustomerId)
}

// grouped puts changes together by whose they are.
func grouped(list []*orderv1.AllocationChange, id func(*orderv1.AllocationChange) string) []*orderv1.Changes {
	by := make(map[string]*orderv1.Changes)
	for _, c := range list {
		if by[id(c)] == nil {
			by[id(c)] = &orderv1.Changes{Id: id(c)}
		}
		by[id(c)].Changes = append(by[id(c)].Changes, c)
	}
	groups := make([]*orderv1.Changes, 0, len(by))
	for _, key := range slices.Sorted(maps.Keys(by)) {
		groups = append(groups, by[key])
	}
	return groups
}
