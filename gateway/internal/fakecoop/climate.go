package fakecoop

import (
	"context"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
)

// GetClimateTrace tells of a morning in pinning with stale air; readings that were recorded come on
// top.
func (h *harvest) GetClimateTrace(_ context.Context, req *harvestv1.GetClimateTraceRequest) (*harvestv1.GetClimateTraceResponse, error) {
	return read(h.c, "GetClimateTrace", func() (*harvestv1.GetClimateTraceResponse, error) {
		res := &harvestv1.GetClimateTraceResponse{Date: req.GetDate(), CropId: req.GetRoomId() + "-20261001", Step: "pinning", Cautions: []*harvestv1.Caution{{Text: "Carbon dioxide gathers in closed rooms."}}}
		res.Limits = []*harvestv1.ClimateLimit{
			{Kind: harvestv1.ClimateKind_CLIMATE_KIND_AIR_TENTHS_C, Least: proto.Int64(156), Most: proto.Int64(189)},
			{Kind: harvestv1.ClimateKind_CLIMATE_KIND_CO2_PPM, Most: proto.Int64(800)},
		}
		if req.GetDate() == Today {
			for quarter := range 40 {
				when := timestamppb.New(at(Today, 0).AsTime().Add(time.Duration(quarter) * 15 * time.Minute))
				res.Readings = append(res.Readings, &harvestv1.ClimateReading{RoomId: req.GetRoomId(), Kind: harvestv1.ClimateKind_CLIMATE_KIND_CO2_PPM, Time: when, Value: int32(700 + 5*quarter)})
			}
			res.Readings = append(res.Readings, &harvestv1.ClimateReading{RoomId: req.GetRoomId(), Kind: harvestv1.ClimateKind_CLIMATE_KIND_AIR_TENTHS_C, Time: at(Today, 6), Value: 173})
			res.Alerts = []*harvestv1.ClimateAlert{staleAir(req.GetRoomId())}
		}
		for _, r := range h.c.Climate {
			if r.GetRoomId() == req.GetRoomId() && r.GetTime().AsTime().Format(time.DateOnly) == req.GetDate() {
				res.Readings = append(res.Readings, r)
			}
		}
		return res, nil
	})
}

func staleAir(room string) *harvestv1.ClimateAlert {
	return &harvestv1.ClimateAlert{
		AlertId: "a-1", RoomId: room, FarmId: "alder-brook", CropId: room + "-20261001", Step: "pinning", Since: at(Today, 5), Last: at(Today, 9), LastValue: 895, WorstValue: 895,
		Limit: &harvestv1.ClimateLimit{Kind: harvestv1.ClimateKind_CLIMATE_KIND_CO2_PPM, Most: proto.Int64(800)}, Text: "Give fresh air before anybody goes in.",
	}
}

func (h *harvest) ListClimateAlerts(context.Context, *harvestv1.ListClimateAlertsRequest) (*harvestv1.ListClimateAlertsResponse, error) {
	return read(h.c, "ListClimateAlerts", func() (*harvestv1.ListClimateAlertsResponse, error) {
		cleared := staleAir("alder-brook-2")
		cleared.AlertId, cleared.ClearedAt = "a-2", at(Today, 10)
		return &harvestv1.ListClimateAlertsResponse{Alerts: []*harvestv1.ClimateAlert{staleAir("alder-brook-1"), cleared}}, nil
	})
}

// ListRefusedReadings lists those of a farm.
func (h *harvest) ListRefusedReadings(_ context.Context, req *harvestv1.ListRefusedReadingsRequest) (*harvestv1.ListRefusedReadingsResponse, error) {
	return read(h.c, "harvest.ListRefusedReadings", func() (*harvestv1.ListRefusedReadingsResponse, error) {
		res := &harvestv1.ListRefusedReadingsResponse{}
		for _, r := range h.c.RefusedInRooms {
			if strings.HasPrefix(r.GetTopic(), "readings/"+ID+"/harvest/"+req.GetFarmId()) {
				res.Refused = append(res.Refused, r)
			}
		}
		return res, nil
	})
}

// RecordClimate takes readings; those of a room that is not there are refused.
func (h *harvest) RecordClimate(_ context.Context, req *harvestv1.RecordClimateRequest) (*harvestv1.RecordClimateResponse, error) {
	return read(h.c, "RecordClimate", func() (*harvestv1.RecordClimateResponse, error) {
		for i, r := range req.GetReadings() {
			if r.GetRoomId() != "alder-brook-1" {
				return nil, fault.InvalidField("readings["+itoa(i)+"].room_id", "no room %s", r.GetRoomId())
			}
		}
		h.c.Climate = append(h.c.Climate, req.GetReadings()...)
		return &harvestv1.RecordClimateResponse{Taken: int32(len(req.GetReadings()))}, nil
	})
}

// ForecastSupply is the same on each day.
func (h *harvest) ForecastSupply(context.Context, *harvestv1.ForecastSupplyRequest) (*harvestv1.ForecastSupplyResponse, error) {
	return read(h.c, "ForecastSupply", func() (*harvestv1.ForecastSupplyResponse, error) {
		res := &harvestv1.ForecastSupplyResponse{NotForecast: []*harvestv1.CropNotForecast{{CropId: "alder-brook-3-20261010", Reason: "Its programme tells no break profile."}}}
		fan := &harvestv1.Fan{LowGrams: 90_000, LikelyGrams: 120_000, HighGrams: 165_000}
		for i := range 28 {
			on := at(Tomorrow, 0).AsTime().AddDate(0, 0, i).Format(time.DateOnly)
			res.Days = append(res.Days, &harvestv1.ForecastDay{Date: on, Fan: fan, MeanGrams: 124_000})
			res.Products = append(res.Products, &harvestv1.ProductForecast{Date: on, ProductId: "white-closed-2kg", Fan: fan, MeanGrams: 124_000})
		}
		return res, nil
	})
}

// ListExpectedPickVersions tells of a stand-in and a late push of any lot that is expected.
func (h *harvest) ListExpectedPickVersions(_ context.Context, req *harvestv1.ListExpectedPickVersionsRequest) (*harvestv1.ListExpectedPickVersionsResponse, error) {
	return read(h.c, "ListExpectedPickVersions", func() (*harvestv1.ListExpectedPickVersionsResponse, error) {
		res := &harvestv1.ListExpectedPickVersionsResponse{}
		for _, e := range h.c.Expected {
			if e.GetPickLotId() == req.GetPickLotId() {
				first, late := proto.CloneOf(e), proto.CloneOf(e)
				first.Version, first.Source = 1, harvestv1.ExpectedPickSource_EXPECTED_PICK_SOURCE_FORECAST
				late.Version, late.Late = 2, true
				res.ExpectedPicks = append(res.ExpectedPicks, first, late)
			}
		}
		return res, nil
	})
}

func (h *harvest) SaveColdStore(_ context.Context, req *harvestv1.SaveColdStoreRequest) (*harvestv1.ColdStore, error) {
	return once(h.c, "SaveColdStore", req, func() (*harvestv1.ColdStore, error) {
		h.c.Cold = append(h.c.Cold, req.GetStore())
		return req.GetStore(), nil
	})
}

func (h *harvest) RecordStoreReadings(_ context.Context, req *harvestv1.RecordStoreReadingsRequest) (*harvestv1.RecordStoreReadingsResponse, error) {
	return once(h.c, "RecordStoreReadings", req, func() (*harvestv1.RecordStoreReadingsResponse, error) {
		h.c.StoreReadings = append(h.c.StoreReadings, req)
		return &harvestv1.RecordStoreReadingsResponse{}, nil
	})
}

// RecordDiscard takes up to 12 kg, which is what the first lot has left.
func (h *harvest) RecordDiscard(_ context.Context, req *harvestv1.RecordDiscardRequest) (*harvestv1.RecordDiscardResponse, error) {
	return once(h.c, "RecordDiscard", req, func() (*harvestv1.RecordDiscardResponse, error) {
		if req.GetDiscard().GetGrams() > 12_000 {
			return nil, fault.InvalidField("discard.grams", "only 12000 g are left of the lot")
		}
		h.c.Discards = append(h.c.Discards, req.GetDiscard())
		return &harvestv1.RecordDiscardResponse{Discard: req.GetDiscard()}, nil
	})
}
