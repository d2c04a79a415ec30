package fakecoop

import (
	"bytes"
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

func (h *harvest) GetRoomOrder(_ context.Context, req *harvestv1.GetRoomOrderRequest) (*harvestv1.GetRoomOrderResponse, error) {
	return read(h.c, "GetRoomOrder", func() (*harvestv1.GetRoomOrderResponse, error) {
		res := &harvestv1.GetRoomOrderResponse{Date: req.GetDate(), Cautions: []*harvestv1.Caution{{Topic: "spores", Text: "Wear a mask in rooms in crop."}}}
		for i := len(h.c.Rooms) - 1; i >= 0; i-- {
			if room := h.c.Rooms[i]; room.GetFarmId() == req.GetFarmId() {
				res.Visits = append(res.Visits, &harvestv1.RoomVisit{
					RoomId: room.GetRoomId(), Name: room.GetName(), FarmId: room.GetFarmId(), BreakNumber: int32(len(res.Visits)), Infected: room.GetRoomId() == "alder-brook-1",
					Why: fmt.Sprintf("Number %d by age.", len(res.Visits)+1),
				})
			}
		}
		return res, nil
	})
}

func (h *harvest) ListPests(context.Context, *harvestv1.ListPestsRequest) (*harvestv1.ListPestsResponse, error) {
	return read(h.c, "ListPests", func() (*harvestv1.ListPestsResponse, error) {
		return &harvestv1.ListPestsResponse{
			Pests:    []*harvestv1.Pest{{Name: "sciarid flies", Signs: "Black threads in pins.", Threshold: "One larva in 125 g."}, {Name: "cobweb", Signs: "Grey web over caps."}},
			Cautions: []*harvestv1.Caution{{Topic: "spores", Text: "Wear a mask in rooms in crop."}},
		}, nil
	})
}

func (h *harvest) ListIncidents(_ context.Context, req *harvestv1.ListIncidentsRequest) (*harvestv1.ListIncidentsResponse, error) {
	return read(h.c, "ListIncidents", func() (*harvestv1.ListIncidentsResponse, error) {
		res := &harvestv1.ListIncidentsResponse{}
		for _, one := range h.c.Incidents {
			if one.GetClosedAt() == nil {
				res.Incidents = append(res.Incidents, one)
			}
		}
		return res, nil
	})
}

func (h *harvest) ReportIncident(ctx context.Context, req *harvestv1.ReportIncidentRequest) (*harvestv1.ReportIncidentResponse, error) {
	return once(h.c, "ReportIncident", req, func() (*harvestv1.ReportIncidentResponse, error) {
		if len(req.GetPhoto()) > 0 && !bytes.HasPrefix(req.GetPhoto(), []byte("\x89PNG")) {
			return nil, fault.InvalidField("photo", "is no JPEG, PNG or WebP")
		}
		one := proto.CloneOf(req.GetIncident())
		one.IncidentId, one.FarmId, one.ReportedBy, one.ReportedAt = fmt.Sprintf("incident-%d", len(h.c.Incidents)+1), "alder-brook", identity.Must(ctx).Name, at(Today, 14)
		one.HasPhoto = len(req.GetPhoto()) > 0
		if len(one.GetCounts()) > 0 {
			one.Verdict, one.ThresholdSource = harvestv1.IncidentVerdict_INCIDENT_VERDICT_ACT, "A university bulletin."
		}
		h.c.Incidents, h.c.Photo = append(h.c.Incidents, one), req.GetPhoto()
		return &harvestv1.ReportIncidentResponse{Incident: one}, nil
	})
}

func (h *harvest) CloseIncident(_ context.Context, req *harvestv1.CloseIncidentRequest) (*harvestv1.Incident, error) {
	return once(h.c, "CloseIncident", req, func() (*harvestv1.Incident, error) {
		for _, one := range h.c.Incidents {
			if one.GetIncidentId() == req.GetIncidentId() {
				one.ClosedAt, one.Outcome = at(Today, 15), req.GetOutcome()
				return one, nil
			}
		}
		return nil, notFound("incident", req.GetIncidentId())
	})
}

func (h *harvest) GetIncidentPhoto(_ context.Context, req *harvestv1.GetIncidentPhotoRequest) (*harvestv1.GetIncidentPhotoResponse, error) {
	return read(h.c, "GetIncidentPhoto", func() (*harvestv1.GetIncidentPhotoResponse, error) {
		if len(h.c.Photo) == 0 {
			return nil, notFound("photo of", req.GetIncidentId())
		}
		return &harvestv1.GetIncidentPhotoResponse{Photo: h.c.Photo, MediaType: h.c.PhotoType}, nil
	})
}

func (h *harvest) GetColdStock(context.Context, *harvestv1.GetColdStockRequest) (*harvestv1.GetColdStockResponse, error) {
	return read(h.c, "GetColdStock", func() (*harvestv1.GetColdStockResponse, error) {
		if h.c.NoStock {
			return &harvestv1.GetColdStockResponse{}, nil
		}
		soon, long := int64(20), int64(90)
		lot := func(product string) *harvestv1.PickLot {
			return &harvestv1.PickLot{PickLotId: lotCode("alder-brook-1", product, Today), RoomId: "alder-brook-1", FarmId: "alder-brook", ProductId: product}
		}
		held := lot("white-open-3kg")
		held.Held, held.HoldReason = true, "cobweb in the room"
		return &harvestv1.GetColdStockResponse{
			Stores: []*harvestv1.StoreState{{
				Store: &harvestv1.ColdStore{StoreId: "alder-brook-cold", FarmId: "alder-brook", Name: "Cold room"}, Last: &harvestv1.StoreReading{Time: at(Today, 12), AirTenthsC: 84},
				Condition: harvestv1.StoreCondition_STORE_CONDITION_WARM, OutOfRangeSince: at(Today, 11), Warning: "Warmer than 7.2 °C since 11:00: shut the door.", HeatWatts: 42,
			}},
			Lots: []*harvestv1.ColdLot{
				{PickLot: lot("white-closed-2kg"), LeftGrams: 12_000, AgeHours: 30, RemainingHours: &soon, StoreId: "alder-brook-cold"},
				{PickLot: held, LeftGrams: 6_000, AgeHours: 1, RemainingHours: &long, AssumedTemperature: true},
				{PickLot: lot("brown-closed-2kg"), LeftGrams: 2_000, AgeHours: 2},
			},
		}, nil
	})
}

func (h *harvest) AdviseEnd(context.Context, *harvestv1.AdviseEndRequest) (*harvestv1.AdviseEndResponse, error) {
	return read(h.c, "AdviseEnd", func() (*harvestv1.AdviseEndResponse, error) {
		next := int64(2_100)
		return &harvestv1.AdviseEndResponse{
			Advice: []*harvestv1.EndAdvice{{
				CropId: "alder-brook-1-20261001", RoomId: "alder-brook-1", FarmId: "alder-brook", Verdict: harvestv1.EndVerdict_END_VERDICT_CLEAR_ROOM, ClearOnDate: "2026-12-02",
				WaitingCostsFromDate: "2026-12-03", WaitingCostsMinorPerDay: 1_400, NextMinorPerDay: &next, NextSalesMinor: 40_000, NextPickingAndHandlingMinor: 9_000, NextRoomMinor: 7_000,
				FreshMinorPerDay: 3_500, GainLowMinor: -500, GainLikelyMinor: 9_800, GainHighMinor: 14_000, CurrencyCode: "EUR", Reason: "A fresh cycle earns more than the fourth break.",
			}},
			NotAdvised: []*harvestv1.CropNotForecast{{CropId: "alder-brook-2-20261003", Reason: "No costs are saved for its programme."}},
		}, nil
	})
}

func (l *compostlot) GetLotDocument(_ context.Context, req *compostlotv1.GetLotDocumentRequest) (*compostlotv1.LotDocument, error) {
	return read(l.c, "GetLotDocument", func() (*compostlotv1.LotDocument, error) {
		if _, err := l.report(req.GetLotId()); err != nil {
			return nil, err
		}
		if req.GetFormat() != compostlotv1.DocumentFormat_DOCUMENT_FORMAT_PDF {
			return &compostlotv1.LotDocument{ContentType: "text/html; charset=utf-8", FileName: req.GetLotId() + ".html", Content: []byte("<html>")}, nil
		}
		return &compostlotv1.LotDocument{ContentType: "application/pdf", FileName: req.GetLotId() + ".pdf", Content: []byte("%PDF-1.7")}, nil
	})
}
