package server

import (
	"context"
	"fmt"
	"math"
	"slices"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	schedulingv1 "breakshare.example/proto/gen/breakshare/scheduling/v1"
	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/requestlog"
	"breakshare.example/services/platform/saving"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/demand"
	"breakshare.example/services/scheduling/internal/store"
)

// GetDemand forecasts what customers will want, by product and week.
func (s *Server) GetDemand(ctx context.Context, req *schedulingv1.GetDemandRequest) (*schedulingv1.GetDemandResponse, error) {
	answer := &schedulingv1.GetDemandResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		span, err := s.span(ctx, tx, req.GetFirstWeek(), req.GetWeeks(), quarterWeeks, 0)
		if err != nil {
			return err
		}
		outlooks, err := s.outlook(ctx, tx, span, req.GetProductId())
		if err != nil {
			return err
		}
		if req.GetProductId() != "" && len(outlooks) == 0 {
			return unknown("PRODUCT", req.GetProductId(), "product_id", "the order service has told of no such product")
		}
		answer.Products = each(outlooks, outlookMessage)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return answer, nil
}

// SaveDemandOverride overrules the forecast of a product and week.
func (s *Server) SaveDemandOverride(ctx context.Context, req *schedulingv1.SaveDemandOverrideRequest) (*schedulingv1.DemandOverride, error) {
	return requestlog.Once(ctx, s.pool, req.GetRequestId(), req, &schedulingv1.DemandOverride{}, func(ctx context.Context, tx pgx.Tx) (*schedulingv1.DemandOverride, error) {
		return s.saveOverride(ctx, tx, req.GetOverride())
	})
}

func (s *Server) saveOverride(ctx context.Context, tx pgx.Tx, in *schedulingv1.DemandOverride) (*schedulingv1.DemandOverride, error) {
	today, err := s.today(ctx, tx)
	if err != nil {
		return nil, err
	}
	week, err := mondayFrom(in.GetWeek(), "override.week")
	if err != nil {
		return nil, err
	}
	if week < today.Week() {
		return nil, fault.InvalidField("override.week", "%s is over; only weeks from %s on can be overruled", week, today.Week())
	}
	products, err := store.ListProducts(ctx, tx, in.GetProductId())
	if err != nil {
		return nil, err
	}
	if len(products) == 0 {
		return nil, unknown("PRODUCT", in.GetProductId(), "override.product_id", "the order service has told of no such product")
	}
	all, err := store.ListOverrides(ctx, tx, week)
	if err != nil {
		return nil, err
	}
	var old store.Override
	i := slices.IndexFunc(all, func(o store.Override) bool { return o.ProductID == in.GetProductId() && o.Week == week })
	if i >= 0 {
		old = all[i]
	}
	o := store.Override{ProductID: in.GetProductId(), Week: week, Grams: in.Grams, Reason: in.GetReason()}
	equal := o.Reason == old.Reason && (o.Grams == nil) == (old.Grams == nil) && in.GetGrams() == gramsOf(old)
	save := saving.Save{Thing: fmt.Sprintf("figure for %q in the week of %s", o.ProductID, week), Path: "override", Etag: in.GetEtag(), Found: i >= 0, Equal: equal, Last: old.Change}
	write, err := save.Decide()
	if err != nil {
		return nil, err
	}
	if !write {
		return overrideMessage(old), nil
	}
	o.Change = s.change(ctx, old.Version+1)
	if ok, err := store.PutOverride(ctx, tx, identity.Must(ctx).CoopID, o); err != nil {
		return nil, err
	} else if !ok {
		return nil, saving.Raced(save.Thing)
	}
	return overrideMessage(o), nil
}

func gramsOf(o store.Override) int64 {
	if o.Grams == nil {
		return 0
	}
	return *o.Grams
}

func overrideMessage(o store.Override) *schedulingv1.DemandOverride {
	return &schedulingv1.DemandOverride{
		ProductId: o.ProductID, Week: o.Week.String(), Grams: o.Grams, Reason: o.Reason,
		By: o.By, At: timestamppb.New(o.At), Etag: etag(o.Version),
	}
}

func outlookMessage(o outlook) *schedulingv1.ProductDemand {
	out := &schedulingv1.ProductDemand{
		ProductId: o.product.ID, Name: o.product.Name, Kind: kindMessage(kindOf(o.product)),
		Method: string(o.forecast.Method), HistoryWeeks: int32(o.history),
	}
	for _, w := range o.weeks {
		week := &schedulingv1.DemandWeek{
			Week: w.week.String(), Grams: w.grams, ForecastGrams: w.model, OrderedGrams: w.ordered, StandingGrams: w.standing, Holiday: w.holiday,
		}
		if w.override != nil {
			week.Override = overrideMessage(*w.override)
		}
		out.Weeks = append(out.Weeks, week)
	}
	for _, score := range o.forecast.Scores {
		out.Scores = append(out.Scores, scoreMessage(score))
	}
	for _, e := range o.forecast.Effects {
		out.Effects = append(out.Effects, &schedulingv1.HolidayEffect{
			Holiday: e.Holiday, FactorPerMille: int64(math.Round(e.Factor * 1000)), Occurrences: int32(e.Occurrences),
		})
	}
	return out
}

func scoreMessage(score demand.Score) *schedulingv1.MethodScore {
	out := &schedulingv1.MethodScore{
		Method: string(score.Method), Forecasts: int32(score.Accuracy.Forecasts),
		MeanAbsoluteGrams: int64(math.Round(score.Accuracy.MeanAbsolute)),
	}
	if scaled := score.Accuracy.MeanScaled; scaled > 0 {
		perMille := int64(math.Round(scaled * 1000))
		out.ScaledPerMille = &perMille
	}
	return out
}

// mondayFrom reads a week, which is named by its Monday.
func mondayFrom(text, path string) (calendar.Date, error) {
	day, err := dateFrom(text, path)
	if err != nil {
		return 0, err
	}
	if day.Week() != day {
		return 0, fault.InvalidField(path, "%s is a %s; weeks begin on a Monday, this one on %s", day, day.Weekday(), day.Week())
	}
	return day, nil
}
