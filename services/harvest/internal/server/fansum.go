package server

import (
	"cmp"
	"context"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/forecast"
	"breakshare.example/services/harvest/internal/told"
)

func stageShares(f fan) []*harvestv1.StageShare {
	var out []*harvestv1.StageShare
	for _, s := range f.crop.Growing().LearnedStages(f.products) {
		out = append(out, &harvestv1.StageShare{PickStage: told.PickStage(s.Name), PerMille: s.PerMille})
	}
	return out
}

// ForecastSupply answers with the fan of all crops together.
func (s *Server) ForecastSupply(ctx context.Context, req *harvestv1.ForecastSupplyRequest) (*harvestv1.ForecastSupplyResponse, error) {
	farm, err := listedFarm(ctx, req.GetFarmId())
	if err != nil {
		return nil, err
	}
	days := cmp.Or(int(req.GetDays()), defaultDays)
	var list []fan
	var failed map[string]error
	var from day.Date
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		cal, err := s.calendar(ctx, tx)
		if err != nil {
			return err
		}
		if from, err = dayOr(req.GetFromDate(), "from_date", cal.today().Add(1)); err != nil {
			return err
		}
		list, _, failed, err = s.bearing(ctx, tx, from, days, farm)
		return err
	})
	if err != nil {
		return nil, err
	}
	resp := &harvestv1.ForecastSupplyResponse{}
	for _, id := range slices.Sorted(maps.Keys(failed)) {
		resp.NotForecast = append(resp.NotForecast, &harvestv1.CropNotForecast{CropId: id, Reason: failed[id].Error()})
	}
	if len(list) == 0 {
		return resp, nil
	}
	total, err := sum(list, from, days)
	if err != nil {
		return nil, err
	}
	for i, d := range total.Days() {
		resp.Days = append(resp.Days, forecastDay(from.Add(i), d))
	}
	resp.Products, err = productFans(list, from, days)
	return resp, err
}

// sum adds up the forecasts by calendar day.
func sum(list []fan, from day.Date, days int) (*forecast.Forecast, error) {
	parts := make([]*forecast.Forecast, len(list))
	shift := make([]int, len(list))
	for i, f := range list {
		parts[i] = f.forecast
		shift[i] = f.crop.Fill.Sub(from)
	}
	return forecast.Sum(0, days, parts, shift)
}

// productFans are the fans of each product. The band of a product over several
// rooms is as wide, in proportion, as that of all that those rooms bear.
func productFans(list []fan, from day.Date, days int) ([]*harvestv1.ProductForecast, error) {
	rooms := map[string][]fan{}
	for _, f := range list {
		for _, s := range f.shares {
			if s.PerMille > 0 {
				rooms[s.Name] = append(rooms[s.Name], f)
			}
		}
	}
	var out []*harvestv1.ProductForecast
	for _, product := range slices.Sorted(maps.Keys(rooms)) {
		whole, err := sum(rooms[product], from, days)
		if err != nil {
			return nil, err
		}
		for i, d := range whole.Days() {
			var mean int64
			for _, f := range rooms[product] {
				if own, ok := f.at(from.Add(i)); ok {
					mean += f.parts(own.Mean)[product]
				}
			}
			// What the product makes up of the rooms' mean, it makes up of their quantiles.
			part := []forecast.PickStage{{Name: product, PerMille: mean}, {PerMille: max(0, d.Mean-mean)}}
			grams := func(of int64) int64 { return forecast.Split(of, part)[0].Grams }
			out = append(out, &harvestv1.ProductForecast{
				Date: from.Add(i).String(), ProductId: product, MeanGrams: mean,
				Fan: &harvestv1.Fan{LowGrams: grams(d.Low), LikelyGrams: grams(d.Likely), HighGrams: grams(d.High)},
			})
		}
	}
	slices.SortStableFunc(out, func(a, b *harvestv1.ProductForecast) int {
		return cmp.Or(cmp.Compare(a.GetDate(), b.GetDate()), cmp.Compare(a.GetProductId(), b.GetProductId()))
	})
	return out, nil
}
