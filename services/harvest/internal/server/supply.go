package server

import (
	"cmp"
	"context"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/store"
)

// ListExpectedPicks lists the newest figures of a span of days.
func (s *Server) ListExpectedPicks(ctx context.Context, req *harvestv1.ListExpectedPicksRequest) (*harvestv1.ListExpectedPicksResponse, error) {
	from, to, err := span(req.GetFromDate(), req.GetToDate())
	if err != nil {
		return nil, err
	}
	farm, err := listedFarm(ctx, req.GetFarmId())
	if err != nil {
		return nil, err
	}
	resp := &harvestv1.ListExpectedPicksResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		list, err := store.ExpectedOfDays(ctx, tx, from, to, farm)
		for _, e := range list {
			resp.ExpectedPicks = append(resp.ExpectedPicks, expectedMessage(e))
		}
		return err
	})
	return resp, err
}

// GetSupply adds up what is expected and what was picked by day and product,
// held lots left out; for a grower, of the own farm.
func (s *Server) GetSupply(ctx context.Context, req *harvestv1.GetSupplyRequest) (*harvestv1.GetSupplyResponse, error) {
	from, to, err := span(req.GetFromDate(), req.GetToDate())
	if err != nil {
		return nil, err
	}
	var expected []store.Expected
	var picked []store.PickLot
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		var err error
		if expected, err = store.ExpectedOfDays(ctx, tx, from, to, ownFarm(ctx)); err != nil {
			return err
		}
		picked, err = store.LotsOfDays(ctx, tx, from, to, ownFarm(ctx))
		return err
	})
	if err != nil {
		return nil, err
	}
	return &harvestv1.GetSupplyResponse{Days: supply(expected, picked)}, nil
}

// supply groups by day and product. expected is ordered by room within them.
func supply(expected []store.Expected, picked []store.PickLot) []*harvestv1.SupplyDay {
	type key struct {
		on      day.Date
		product string
	}
	days := map[key]*harvestv1.SupplyDay{}
	of := func(on day.Date, product string) *harvestv1.SupplyDay {
		k := key{on, product}
		if days[k] == nil {
			days[k] = &harvestv1.SupplyDay{Date: on.String(), ProductId: product}
		}
		return days[k]
	}
	for _, e := range expected {
		if e.Held {
			continue
		}
		d := of(e.Day, e.ProductID)
		d.LowGrams += e.Low
		d.LikelyGrams += e.Likely
		d.HighGrams += e.High
		d.Rooms = append(d.Rooms, expectedMessage(e))
	}
	for _, l := range picked {
		if l.Held() || l.Picks == 0 {
			continue
		}
		d := of(l.Day, l.ProductID)
		sum := d.GetPickedGrams() + l.Left()
		d.PickedGrams = &sum
	}
	keys := slices.SortedFunc(maps.Keys(days), func(a, b key) int {
		return cmp.Or(cmp.Compare(a.on, b.on), cmp.Compare(a.product, b.product))
	})
	out := make([]*harvestv1.SupplyDay, len(keys))
	for i, k := range keys {
		out[i] = days[k]
	}
	return out
}
