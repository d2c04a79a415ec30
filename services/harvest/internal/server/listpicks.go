package server

import (
	"context"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
)

// mostPickDays is how many days after the first the weighings of a span may be asked for: a week
// of a co-op of 50 farms is some thousands of weighings, and fits into one answer.
const mostPickDays = 6

// ListPicks lists what was weighed and thrown away of a lot, or of the lots of a span of days.
func (s *Server) ListPicks(ctx context.Context, req *harvestv1.ListPicksRequest) (*harvestv1.ListPicksResponse, error) {
	wanted, err := wantedLots(ctx, req)
	if err != nil {
		return nil, err
	}
	resp := &harvestv1.ListPicksResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		list, err := wanted(ctx, tx)
		if err != nil {
			return err
		}
		ids, byID := make([]string, len(list)), make(map[string]store.PickLot, len(list))
		for i, l := range list {
			ids[i], byID[l.ID] = l.ID, l
			resp.PickLots = append(resp.PickLots, lots.Message(l))
		}
		picks, err := store.PicksOfLots(ctx, tx, ids)
		if err != nil {
			return err
		}
		for _, p := range picks {
			resp.Picks = append(resp.Picks, pickMessage(p, byID[p.LotID]))
		}
		discards, err := store.DiscardsOfLots(ctx, tx, ids)
		for _, d := range discards {
			resp.Discards = append(resp.Discards, discardMessage(d))
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return resp, nil
}

// wantedLots judges whose lots are asked for, and returns what reads them.
func wantedLots(ctx context.Context, req *harvestv1.ListPicksRequest) (func(context.Context, pgx.Tx) ([]store.PickLot, error), error) {
	if id := req.GetPickLotId(); id != "" {
		if req.GetFromDate() != "" || req.GetToDate() != "" || req.GetFarmId() != "" {
			return nil, fault.InvalidField("pick_lot_id", "a lot is of one farm and one day: name the lot alone, or leave it out and give days and farm")
		}
		return func(ctx context.Context, tx pgx.Tx) ([]store.PickLot, error) {
			l, ok, err := store.FindLot(ctx, tx, id)
			switch {
			case err != nil:
				return nil, err
			case !ok:
				return nil, noLot(id)
			}
			return []store.PickLot{l}, checkFarm(ctx, "pick lot "+l.ID, l.FarmID)
		}, nil
	}
	if req.GetFromDate() == "" && req.GetToDate() == "" {
		return nil, fault.InvalidField("pick_lot_id", "name a lot here, or give from_date and to_date")
	}
	from, to, err := span(req.GetFromDate(), req.GetToDate())
	if err != nil {
		return nil, err
	}
	if days := to.Sub(from); days > mostPickDays {
		return nil, fault.InvalidField("to_date", "%s lies %d days after from_date %s: ask for %d days or fewer at once", to, days, from, mostPickDays)
	}
	farm, err := listedFarm(ctx, req.GetFarmId())
	return func(ctx context.Context, tx pgx.Tx) ([]store.PickLot, error) {
		return store.LotsOfDays(ctx, tx, from, to, farm)
	}, err
}
