package server

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
)

// ReasonStale is the reason of the fault for changing what another has changed
// meanwhile, or what was not read before.
const ReasonStale = "STALE"

// SaveCropCosts saves what growing costs.
func (s *Server) SaveCropCosts(ctx context.Context, req *harvestv1.SaveCropCostsRequest) (*harvestv1.CropCosts, error) {
	in := req.GetCosts()
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &harvestv1.CropCosts{},
		func(ctx context.Context, tx pgx.Tx) (*harvestv1.CropCosts, error) {
			old, known, err := store.LockCosts(ctx, tx, in.GetProgrammeId())
			if err != nil {
				return nil, err
			}
			c := store.CropCosts{
				ProgrammeID: in.GetProgrammeId(), FillM2: in.GetFillMinorPerM2(), SpawnM2: in.GetSpawnMinorPerM2(), CasingM2: in.GetCasingMinorPerM2(),
				CookOutM2: in.GetCookOutMinorPerM2(), DayM2: in.GetRoomDayMinorPerM2(), PickingKg: in.GetPickingMinorPerKg(), HandlingKg: in.GetHandlingMinorPerKg(),
				Version: old.Version, ChangedBy: old.ChangedBy, ChangedAt: old.ChangedAt,
			}
			if known && c == old {
				return costsMessage(old), nil
			}
			if stale := in.GetEtag() != saving.Etag(old.Version) && (known || in.GetEtag() != ""); stale {
				return nil, fault.New(fault.Stale, ReasonStale, "the costs were changed by %s on %s: read them again, and send their etag with your change",
					old.ChangedBy, old.ChangedAt.Format(time.RFC3339))
			}
			c.Version, c.ChangedBy, c.ChangedAt = old.Version+1, caller(ctx), s.clock.Now()
			return costsMessage(c), store.SaveCosts(ctx, tx, c)
		})
}

// ListCropCosts lists what growing costs.
func (s *Server) ListCropCosts(ctx context.Context, _ *harvestv1.ListCropCostsRequest) (*harvestv1.ListCropCostsResponse, error) {
	resp := &harvestv1.ListCropCostsResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		list, err := store.AllCosts(ctx, tx)
		for _, c := range list {
			resp.Costs = append(resp.Costs, costsMessage(c))
		}
		return err
	})
	return resp, err
}

func costsMessage(c store.CropCosts) *harvestv1.CropCosts {
	return &harvestv1.CropCosts{
		ProgrammeId: c.ProgrammeID, FillMinorPerM2: c.FillM2, SpawnMinorPerM2: c.SpawnM2, CasingMinorPerM2: c.CasingM2,
		CookOutMinorPerM2: c.CookOutM2, RoomDayMinorPerM2: c.DayM2, PickingMinorPerKg: c.PickingKg, HandlingMinorPerKg: c.HandlingKg,
		Etag: saving.Etag(c.Version),
	}
}
