package server

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
	"breakshare.example/services/scheduling/internal/store"
)

// SaveFarm creates or changes one farm.
func (s *Server) SaveFarm(ctx context.Context, req *schedulingv1.SaveFarmRequest) (*schedulingv1.Farm, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.Farm{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.Farm, error) {
		return one(s.saveFarms(ctx, tx, []*schedulingv1.Farm{req.GetFarm()}, single("farm")))
	})
}

// BatchSaveFarms creates or changes many farms, all or none.
func (s *Server) BatchSaveFarms(ctx context.Context, req *schedulingv1.BatchSaveFarmsRequest) (*schedulingv1.BatchSaveFarmsResponse, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.BatchSaveFarmsResponse{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.BatchSaveFarmsResponse, error) {
		farms, err := s.saveFarms(ctx, tx, req.GetFarms(), element("farms"))
		if err != nil {
			return nil, err
		}
		return &schedulingv1.BatchSaveFarmsResponse{Farms: farms}, nil
	})
}

// ListFarms returns the farms that the caller may see, by id.
func (s *Server) ListFarms(ctx context.Context, _ *schedulingv1.ListFarmsRequest) (*schedulingv1.ListFarmsResponse, error) {
	farmID, err := visibleFarm(identity.Must(ctx), "")
	if err != nil {
		return nil, err
	}
	answer := &schedulingv1.ListFarmsResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		farms, err := store.ListFarms(ctx, tx, farmID)
		answer.Farms = each(farms, farmMessage)
		return err
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

func (s *Server) saveFarms(ctx context.Context, tx pgx.Tx, in []*schedulingv1.Farm, at pathOf) ([]*schedulingv1.Farm, error) {
	if err := onceEach(in, (*schedulingv1.Farm).GetFarmId, at, "farm_id"); err != nil {
		return nil, err
	}
	stored, err := store.LockFarms(ctx, tx, each(in, (*schedulingv1.Farm).GetFarmId))
	if err != nil {
		return nil, err
	}
	out := make([]*schedulingv1.Farm, len(in))
	for i, f := range in {
		old, found := stored[f.GetFarmId()]
		if out[i], err = s.saveFarm(ctx, tx, f, old, found, at(i)); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (s *Server) saveFarm(ctx context.Context, tx pgx.Tx, in *schedulingv1.Farm, old store.Farm, found bool, path string) (*schedulingv1.Farm, error) {
	farm := store.Farm{
		ID: in.GetFarmId(), Name: in.GetName(), Place: in.GetPlace(),
		MemberShares: in.GetMemberShares(), CarryCostMinorPerKg: in.GetCarryCostMinorPerKg(), Change: old.Change,
	}
	save := saving.Save{Thing: fmt.Sprintf("farm %q", farm.ID), Path: path, Etag: in.GetEtag(), Found: found, Equal: farm == old, Last: old.Change}
	write, err := save.Decide()
	if err != nil {
		return nil, err
	}
	if !write {
		return farmMessage(old), nil
	}
	farm.Change = s.change(ctx, old.Version+1)
	if ok, err := store.PutFarm(ctx, tx, identity.Must(ctx).CoopID, farm); err != nil {
		return nil, err
	} else if !ok {
		return nil, saving.Raced(save.Thing)
	}
	answer := farmMessage(farm)
	return answer, tell(ctx, tx, "farm", "saved", farm.ID, &schedulingv1.FarmSaved{Farm: answer, Version: farm.Version})
}

func farmMessage(f store.Farm) *schedulingv1.Farm {
	return &schedulingv1.Farm{
		FarmId: f.ID, Name: f.Name, Place: f.Place, MemberShares: f.MemberShares,
		CarryCostMinorPerKg: f.CarryCostMinorPerKg, Etag: etag(f.Version),
	}
}

// unknown refuses a request that names something which is not there.
func unknown(thing, id, path, mend string) error {
	return fault.New(fault.NotFound, "UNKNOWN_"+thing, "%s: there is no %q; %s", path, id, mend).
		WithField(path, "there is no %q; %s", id, mend)
}
