package fakecoop

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
)

type scheduling struct {
	schedulingv1.UnimplementedSchedulingServiceServer
	c *Coop
}

func (s *scheduling) GetCoop(context.Context, *schedulingv1.GetCoopRequest) (*schedulingv1.Coop, error) {
	return read(s.c, "GetCoop", func() (*schedulingv1.Coop, error) {
		if s.c.Settings == nil {
			return nil, notFound("co-op", ID)
		}
		return s.c.Settings, nil
	})
}

func (s *scheduling) ListFarms(context.Context, *schedulingv1.ListFarmsRequest) (*schedulingv1.ListFarmsResponse, error) {
	return read(s.c, "ListFarms", func() (*schedulingv1.ListFarmsResponse, error) {
		return &schedulingv1.ListFarmsResponse{Farms: s.c.Farms}, nil
	})
}

func (s *scheduling) SaveFarm(_ context.Context, req *schedulingv1.SaveFarmRequest) (*schedulingv1.Farm, error) {
	return once(s.c, "SaveFarm", req, func() (*schedulingv1.Farm, error) { return req.GetFarm(), nil })
}

func (s *scheduling) ListRooms(_ context.Context, req *schedulingv1.ListRoomsRequest) (*schedulingv1.ListRoomsResponse, error) {
	return read(s.c, "ListRooms", func() (*schedulingv1.ListRoomsResponse, error) {
		res := &schedulingv1.ListRoomsResponse{}
		for _, r := range s.c.Rooms {
			if req.GetFarmId() == "" || r.GetFarmId() == req.GetFarmId() {
				res.Rooms = append(res.Rooms, r)
			}
		}
		return res, nil
	})
}

func (s *scheduling) GetCalendar(_ context.Context, req *schedulingv1.GetCalendarRequest) (*schedulingv1.GetCalendarResponse, error) {
	return read(s.c, "GetCalendar", func() (*schedulingv1.GetCalendarResponse, error) {
		res := &schedulingv1.GetCalendarResponse{}
		for _, crop := range s.c.Crops {
			if (req.GetFarmId() == "" || crop.GetFarmId() == req.GetFarmId()) && crop.GetFillDate() <= req.GetToDate() && crop.GetFreeDate() > req.GetFromDate() {
				res.Crops = append(res.Crops, proto.CloneOf(crop))
			}
		}
		return res, nil
	})
}

func (s *scheduling) RecordStage(_ context.Context, req *schedulingv1.RecordStageRequest) (*schedulingv1.Crop, error) {
	return once(s.c, "RecordStage", req, func() (*schedulingv1.Crop, error) {
		for _, crop := range s.c.Crops {
			if crop.GetCropId() != req.GetCropId() {
				continue
			}
			if req.GetEtag() != crop.GetEtag() {
				return nil, fault.New(fault.Stale, "CROP_CHANGED", "Crop %s was changed by Piotr at 13:20.", crop.GetCropId())
			}
			for _, stage := range crop.GetStages() {
				if stage.GetKind() == req.GetKind() {
					stage.ActualStartDate = proto.String(req.GetDate())
					crop.Version++
					crop.Etag = fmt.Sprint(crop.Version)
					return proto.CloneOf(crop), nil
				}
			}
			return nil, fault.InvalidField("kind", "the crop's programme has no such stage")
		}
		return nil, notFound("crop", req.GetCropId())
	})
}
