package server_test

import (
	"context"
	"testing"

	"github.com/jackc/pgx/v5"

	orderv1 "breakshare.example/proto/gen/breakshare/order/v1"
	"breakshare.example/services/order/internal/store"
	"breakshare.example/services/platform/fault"
)

func TestSpawnNeedsByFarmAndPooled(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	need := func(crop, farm, spawn, casing string, grams int64) store.CropNeed {
		return store.CropNeed{
			Crop: crop, Room: crop + "-room", Farm: farm, Species: "white mushroom", Strain: "white hybrid strain",
			SpawnDate: &spawn, SpawnGrams: grams, CasingDate: &casing, CasingGrams: 10 * grams, Version: 1,
		}
	}
	r.in(t, func(ctx context.Context, tx pgx.Tx) error {
		for _, n := range []store.CropNeed{need("a", "alder", "2026-12-02", "2026-12-20", 700), need("b", "birch", "2026-12-01", "2026-12-19", 500)} {
			if err := store.KeepCropNeed(ctx, tx, n); err != nil {
				return err
			}
		}
		return nil
	})
	crop := func(id, farm, date string, grams int64) *orderv1.CropNeed {
		return &orderv1.CropNeed{CropId: id, RoomId: id + "-room", FarmId: farm, Date: date, Grams: grams}
	}
	spawn := func(farm string, first string, grams int64, crops ...*orderv1.CropNeed) *orderv1.SpawnNeed {
		return &orderv1.SpawnNeed{
			Week: "2026-11-30", FarmId: farm, Kind: orderv1.NeedKind_NEED_KIND_SPAWN, Species: "white mushroom", Strain: "white hybrid strain",
			Grams: grams, FirstDate: first, Crops: crops,
		}
	}
	a, b := crop("a", "alder", "2026-12-02", 700), crop("b", "birch", "2026-12-01", 500)
	list := func(ctx context.Context, req *orderv1.ListSpawnNeedsRequest) []*orderv1.SpawnNeed {
		t.Helper()
		req.FromDate = "2026-12-01"
		if req.GetUntilDate() == "" {
			req.UntilDate = "2026-12-18"
		}
		return must[*orderv1.ListSpawnNeedsResponse](t)(r.ListSpawnNeeds(ctx, req)).GetNeeds()
	}
	diff(t, "by farm", []*orderv1.SpawnNeed{spawn("alder", "2026-12-02", 700, a), spawn("birch", "2026-12-01", 500, b)}, list(r.office(t), &orderv1.ListSpawnNeedsRequest{}))
	diff(t, "pooled", []*orderv1.SpawnNeed{spawn("", "2026-12-01", 1200, b, a)}, list(r.office(t), &orderv1.ListSpawnNeedsRequest{Pooled: true}))
	diff(t, "what a grower sees", []*orderv1.SpawnNeed{spawn("birch", "2026-12-01", 500, b)}, list(r.grower(t, "birch"), &orderv1.ListSpawnNeedsRequest{}))
	casing := list(r.grower(t, "birch"), &orderv1.ListSpawnNeedsRequest{UntilDate: "2026-12-20"})
	diff(t, "with casing", &orderv1.SpawnNeed{
		Week: "2026-12-14", FarmId: "birch", Kind: orderv1.NeedKind_NEED_KIND_CASING, Grams: 5000, FirstDate: "2026-12-19",
		Crops: []*orderv1.CropNeed{crop("b", "birch", "2026-12-19", 5000)},
	}, casing[len(casing)-1])
	for field, req := range map[string]*orderv1.ListSpawnNeedsRequest{
		"from_date":  {FromDate: "2026-11-31", UntilDate: tomorrow},
		"until_date": {FromDate: today, UntilDate: "2028-01-01"},
		"pooled":     {FromDate: today, UntilDate: tomorrow, FarmId: "alder", Pooled: true},
	} {
		refused(t, call(r.ListSpawnNeeds, req)(r.office(t)), fault.Invalid, "", field)
	}
}
