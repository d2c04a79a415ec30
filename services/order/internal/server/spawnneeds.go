package server

import (
	"context"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/needs"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// mostNeedDays is the longest span of days of needs that is answered at once.
const mostNeedDays = 400

// ListSpawnNeeds implements OrderService.
func (s *Server) ListSpawnNeeds(ctx context.Context, req *orderv1.ListSpawnNeedsRequest) (*orderv1.ListSpawnNeedsResponse, error) {
	id, farm := identity.Must(ctx), req.GetFarmId()
	if id.Role == identity.Grower && farm == "" {
		farm = id.FarmID
	}
	if err := ownFarm(id, farm); err != nil {
		return nil, err
	}
	if err := span(req.GetFromDate(), req.GetUntilDate(), mostNeedDays); err != nil {
		return nil, err
	}
	if req.GetPooled() && farm != "" {
		return nil, fault.InvalidField("pooled", "puts all farms together, and only %q is asked for: ask for one or the other", farm)
	}
	resp := &orderv1.ListSpawnNeedsResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		crops, err := store.CropNeeds(ctx, tx, req.GetFromDate(), req.GetUntilDate(), farm)
		for _, sum := range needs.ByWeek(needsIn(crops, req.GetFromDate(), req.GetUntilDate()), req.GetPooled()) {
			resp.Needs = append(resp.Needs, needOut(sum))
		}
		return err
	})
	return resp, err
}

// needsIn are the needs of crops that fall on the days asked for. ISO 8601 dates compare as texts.
func needsIn(crops []store.CropNeed, from, until string) []needs.Need {
	var all []needs.Need
	add := func(date *string, grams int64, n needs.Need) {
		if date != nil && grams > 0 && from <= *date && *date <= until {
			n.Day, n.Grams = numberOf(*date), grams
			all = append(all, n)
		}
	}
	for _, c := range crops {
		n := needs.Need{Crop: c.Crop, Room: c.Room, Farm: c.Farm, Kind: needs.Casing}
		add(c.CasingDate, c.CasingGrams, n)
		n.Kind, n.Species, n.Strain = needs.Spawn, c.Species, c.Strain
		add(c.SpawnDate, c.SpawnGrams, n)
	}
	return all
}

func needOut(s needs.Sum) *orderv1.SpawnNeed {
	kind := orderv1.NeedKind_NEED_KIND_SPAWN
	if s.Kind == needs.Casing {
		kind = orderv1.NeedKind_NEED_KIND_CASING
	}
	out := &orderv1.SpawnNeed{
		Week: dateOf(s.Monday), FarmId: s.Farm, Kind: kind, Species: s.Species, Strain: s.Strain, Grams: s.Grams, FirstDate: dateOf(s.First),
	}
	for _, n := range s.Needs {
		out.Crops = append(out.Crops, &orderv1.CropNeed{CropId: n.Crop, RoomId: n.Room, FarmId: n.Farm, Date: dateOf(n.Day), Grams: n.Grams})
	}
	return out
}
