package fakecoop

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
)

// Outlook is what the planner reckons with and what customers are expected to want.
type Outlook struct {
	Planning  *schedulingv1.PlanningSettings
	Working   *schedulingv1.WorkingDays
	Overruled []*schedulingv1.DemandOverride
	Proposed  []*schedulingv1.ProposeFillsRequest
	MovedTo   []*schedulingv1.MoveCropRequest
}

// GetDemand forecasts 400 kg a week of every product, 150 kg of it standing orders; the second
// week is Christmas's.
func (s *scheduling) GetDemand(_ context.Context, req *schedulingv1.GetDemandRequest) (*schedulingv1.GetDemandResponse, error) {
	return read(s.c, "GetDemand", func() (*schedulingv1.GetDemandResponse, error) {
		res := &schedulingv1.GetDemandResponse{}
		for _, p := range s.c.Products {
			d := &schedulingv1.ProductDemand{
				ProductId: p.GetProductId(), Name: p.GetName(), Method: "smoothed level", HistoryWeeks: 60,
				Scores: []*schedulingv1.MethodScore{
					{Method: "seasonal naive", Forecasts: 130, MeanAbsoluteGrams: 60_000, ScaledPerMille: proto.Int64(1000)}, {Method: "smoothed level", Forecasts: 130, MeanAbsoluteGrams: 42_000, ScaledPerMille: proto.Int64(700)},
				},
				Effects: []*schedulingv1.HolidayEffect{{Holiday: "Christmas", FactorPerMille: 1250, Occurrences: 1}},
			}
			for i := range 2 {
				w := &schedulingv1.DemandWeek{Week: []string{"2026-11-23", "2026-12-21"}[i], Grams: 400_000, ForecastGrams: 400_000, StandingGrams: 150_000, OrderedGrams: 120_000}
				if i == 1 {
					w.Holiday = "Christmas"
				}
				for _, o := range s.c.Overruled {
					if o.GetProductId() == p.GetProductId() && o.GetWeek() == w.GetWeek() && o.Grams != nil {
						w.Override, w.Grams = o, o.GetGrams()
					}
				}
				d.Weeks = append(d.Weeks, w)
			}
			res.Products = append(res.Products, d)
		}
		return res, nil
	})
}

func (s *scheduling) SaveDemandOverride(ctx context.Context, req *schedulingv1.SaveDemandOverrideRequest) (*schedulingv1.DemandOverride, error) {
	return once(s.c, "SaveDemandOverride", req, func() (*schedulingv1.DemandOverride, error) {
		o := proto.CloneOf(req.GetOverride())
		if o.GetReason() == "" {
			return nil, fault.InvalidField("override.reason", "is empty; say why")
		}
		o.By, o.Etag = identity.Must(ctx).Name, fmt.Sprintf("o%d", len(s.c.Overruled)+1)
		s.c.Overruled = append(s.c.Overruled, o)
		return o, nil
	})
}

func (s *scheduling) GetPlanningSettings(context.Context, *schedulingv1.GetPlanningSettingsRequest) (*schedulingv1.PlanningSettings, error) {
	return read(s.c, "GetPlanningSettings", func() (*schedulingv1.PlanningSettings, error) {
		if s.c.Planning == nil {
			return &schedulingv1.PlanningSettings{}, nil
		}
		return s.c.Planning, nil
	})
}

func (s *scheduling) SavePlanningSettings(_ context.Context, req *schedulingv1.SavePlanningSettingsRequest) (*schedulingv1.PlanningSettings, error) {
	return once(s.c, "SavePlanningSettings", req, func() (*schedulingv1.PlanningSettings, error) {
		if req.GetSettings().GetEtag() != s.c.Planning.GetEtag() {
			return nil, fault.New(fault.Stale, "STALE_ETAG", "The planning settings were changed meanwhile by Piotr.")
		}
		s.c.Planning = proto.CloneOf(req.GetSettings())
		s.c.Planning.Etag += "+"
		return s.c.Planning, nil
	})
}

func (s *scheduling) GetWorkingDays(context.Context, *schedulingv1.GetWorkingDaysRequest) (*schedulingv1.WorkingDays, error) {
	return read(s.c, "GetWorkingDays", func() (*schedulingv1.WorkingDays, error) {
		if s.c.Working == nil {
			return &schedulingv1.WorkingDays{}, nil
		}
		return s.c.Working, nil
	})
}

func (s *scheduling) SaveWorkingDays(_ context.Context, req *schedulingv1.SaveWorkingDaysRequest) (*schedulingv1.WorkingDays, error) {
	return once(s.c, "SaveWorkingDays", req, func() (*schedulingv1.WorkingDays, error) {
		s.c.Working = proto.CloneOf(req.GetWorkingDays())
		s.c.Working.Etag += "+"
		return s.c.Working, nil
	})
}

// MoveCrop refuses the first try of each move over the yards' tonnes.
func (s *scheduling) MoveCrop(_ context.Context, req *schedulingv1.MoveCropRequest) (*schedulingv1.Crop, error) {
	return once(s.c, "MoveCrop", req, func() (*schedulingv1.Crop, error) {
		if !req.GetBeyondSlots() {
			return nil, fault.New(fault.Precondition, "OVER_THE_YARDS_TONNES", "The published slots of that week give 20,000 kg.").WithField("fill_date", "needs more compost than the slots of the week give")
		}
		s.c.MovedTo = append(s.c.MovedTo, req)
		return &schedulingv1.Crop{CropId: req.GetCropId(), FillDate: req.GetFillDate()}, nil
	})
}

func (s *scheduling) ShiftOverdue(_ context.Context, req *schedulingv1.ShiftOverdueRequest) (*schedulingv1.ShiftOverdueResponse, error) {
	return once(s.c, "ShiftOverdue", req, func() (*schedulingv1.ShiftOverdueResponse, error) {
		s.c.Overdue = nil
		return &schedulingv1.ShiftOverdueResponse{Crops: []*schedulingv1.Crop{{CropId: "a"}, {CropId: "b"}}}, nil
	})
}
