package server

import (
	"context"
	"errors"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/forecast"
	"breakshare.example/services/harvest/internal/genealogy"
	"breakshare.example/services/harvest/internal/growth"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
)

// fan is the forecast of one crop with how it splits over products.
type fan struct {
	crop     store.Crop
	forecast *forecast.Forecast
	first    day.Date // first day of the forecast
	shares   []forecast.PickStage
	products []growth.Product
	picked   int // days on which it was picked
	days     int
	picks    []growth.Picked
	most     int64 // that the room can bear in a day, grams
}

// fans forecasts crops for the same days. A crop of which nothing can be
// forecast is told of with its error instead. A crop filled after from begins
// on its day of filling.
func (s *Server) fans(ctx context.Context, tx pgx.Tx, crops []store.Crop, from day.Date, days int) ([]fan, map[string]error, error) {
	if err := s.recall(ctx, tx, crops); err != nil {
		return nil, nil, err
	}
	cal, err := s.calendar(ctx, tx)
	if err != nil {
		return nil, nil, err
	}
	ids := make([]string, len(crops))
	for i, c := range crops {
		ids[i] = c.ID
	}
	weights, err := store.GramsOfCrops(ctx, tx, ids)
	if err != nil {
		return nil, nil, err
	}
	products, err := store.AllProducts(ctx, tx)
	if err != nil {
		return nil, nil, err
	}
	of := map[string][]store.LotGrams{}
	for _, w := range weights {
		of[w.CropID] = append(of[w.CropID], w)
	}
	var out []fan
	failed := map[string]error{}
	for _, c := range crops {
		f, err := fanOf(c, of[c.ID], products, cal.today(), from, days)
		if err != nil {
			failed[c.ID] = err
			continue
		}
		out = append(out, f)
	}
	return out, failed, nil
}

func fanOf(c store.Crop, weights []store.LotGrams, products []store.Product, today, from day.Date, days int) (fan, error) {
	grown := c.Growing()
	model, err := grown.Model()
	if err != nil {
		return fan{}, err
	}
	f := fan{crop: c, first: max(from, c.Fill), most: model.DayMost(int64(c.AreaM2) * 10)}
	byDay := map[day.Date]int64{}
	for _, w := range weights {
		if w.Picks > 0 {
			byDay[w.Day] += w.Net
		}
	}
	var picked []growth.Picked
	for _, d := range slices.Sorted(maps.Keys(byDay)) {
		picked = append(picked, growth.Picked{Day: d, Grams: byDay[d], Open: d >= today})
		if d < from {
			f.picked++
		}
	}
	f.days = days - f.first.Sub(from)
	f.picks = picked
	if f.forecast, err = grown.Forecast(model, picked, f.first, f.days); err != nil {
		return fan{}, err
	}
	f.products = soldAs(c, weights, products)
	f.shares = grown.Shares(f.products)
	return f, nil
}

// unlearned is the fan as the programme alone would have it, without what the
// co-op's ended crops taught.
func (f fan) unlearned() (fan, error) {
	grown := f.crop.Growing()
	if grown.LearntFrom() == 0 {
		return f, nil
	}
	grown.Before = nil
	model, err := grown.Model()
	if err != nil {
		return fan{}, err
	}
	f.forecast, err = grown.Forecast(model, f.picks, f.first, f.days)
	return f, err
}

// soldAs are the products that a crop is picked as: those it was picked or
// pushed as so far, and where there are none, all that it can bear.
func soldAs(c store.Crop, weights []store.LotGrams, products []store.Product) []growth.Product {
	seen := map[string]*growth.Product{}
	for _, w := range weights {
		p := seen[w.ProductID]
		if p == nil {
			p = &growth.Product{ID: w.ProductID}
			seen[w.ProductID] = p
		}
		if w.Picks > 0 {
			p.Weight += w.Net
			p.Learned += w.Net
		} else {
			p.Weight += w.Expected
		}
	}
	var out []growth.Product
	for _, p := range products {
		s := seen[p.ID]
		switch {
		case s == nil && len(seen) > 0, s == nil && !sameWords(c.Species, p.Species), s == nil && !c.Growing().CanBear(p.PickStage):
			continue
		case s == nil:
			s = &growth.Product{ID: p.ID}
		}
		s.Stage = p.PickStage
		out = append(out, *s)
	}
	return out
}

// at is the forecast's day of a date; ok is false outside it.
func (f fan) at(on day.Date) (d forecast.Day, ok bool) {
	days := f.forecast.Days()
	if i := on.Sub(f.first); i >= 0 && i < len(days) {
		return days[i], true
	}
	return d, false
}

// parts splits grams over the products, by product id.
func (f fan) parts(grams int64) map[string]int64 {
	out := map[string]int64{}
	for _, p := range forecast.Split(grams, f.shares) {
		out[p.Name] = p.Grams
	}
	return out
}

// ReasonNoForecast is the reason of the fault for a crop of which nothing can
// be forecast.
const ReasonNoForecast = "NO_FORECAST"

// noForecast is the fault for what the model refuses of a crop.
func noForecast(cropID string, err error) error {
	var profile *growth.NoProfileError
	var wrong *forecast.ProfileError
	var crop *forecast.CropError
	if errors.As(err, &profile) || errors.As(err, &wrong) || errors.As(err, &crop) {
		return fault.New(fault.Precondition, ReasonNoForecast, "crop %s cannot be forecast: %v", cropID, err)
	}
	return err
}

// defaultDays is the fan of four weeks.
const defaultDays = 28

// ForecastCrop answers with the fan of a crop.
func (s *Server) ForecastCrop(ctx context.Context, req *harvestv1.ForecastCropRequest) (*harvestv1.ForecastCropResponse, error) {
	var resp *harvestv1.ForecastCropResponse
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		cal, err := s.calendar(ctx, tx)
		if err != nil {
			return err
		}
		from, err := dayOr(req.GetFromDate(), "from_date", cal.today().Add(1))
		if err != nil {
			return err
		}
		crop, err := ownCrop(ctx, tx, req.GetCropId())
		if err != nil {
			return err
		}
		days := int(req.GetDays())
		if days == 0 {
			days = defaultDays
		}
		from = max(from, crop.Fill)
		list, failed, err := s.fans(ctx, tx, []store.Crop{crop}, from, days)
		if err != nil {
			return err
		}
		if err := failed[crop.ID]; err != nil {
			return noForecast(crop.ID, err)
		}
		resp = cropForecast(list[0])
		return nil
	})
	return resp, err
}

// ownCrop finds a crop that the caller may see.
func ownCrop(ctx context.Context, tx pgx.Tx, id string) (store.Crop, error) {
	crop, ok, err := store.FindCrop(ctx, tx, id)
	if err != nil {
		return crop, err
	}
	if !ok {
		return crop, fault.New(fault.NotFound, "NO_CROP", "harvest knows no crop %s: take an id from the calendar", id).WithMeta("cropId", id)
	}
	return crop, checkFarm(ctx, "crop "+id, crop.FarmID)
}

func cropForecast(f fan) *harvestv1.ForecastCropResponse {
	resp := &harvestv1.ForecastCropResponse{CropId: f.crop.ID, RoomId: f.crop.RoomID, FarmId: f.crop.FarmID, PickedDays: int32(f.picked), LearntFromCrops: int32(f.crop.Growing().LearntFrom())}
	for i, d := range f.forecast.Days() {
		m := forecastDay(f.first.Add(i), d)
		for _, p := range forecast.Split(d.Likely, f.shares) {
			m.Products = append(m.Products, &harvestv1.ProductGrams{ProductId: p.Name, Grams: p.Grams})
		}
		resp.Days = append(resp.Days, m)
	}
	fill := f.crop.Fill
	for _, b := range f.forecast.Breaks() {
		resp.Breaks = append(resp.Breaks, &harvestv1.ForecastBreak{
			Number: int32(b.Number), FirstDate: fill.Add(b.FirstDay).String(), LastDate: fill.Add(b.LastDay).String(),
			EarliestDate: fill.Add(b.FirstEarliest).String(), LatestDate: fill.Add(b.LastLatest).String(),
			Fan: &harvestv1.Fan{LowGrams: b.Low, LikelyGrams: b.Likely, HighGrams: b.High}, PerMille: int32(b.PerMille),
		})
	}
	resp.Stages = stageShares(f)
	return resp
}

func forecastDay(on day.Date, d forecast.Day) *harvestv1.ForecastDay {
	return &harvestv1.ForecastDay{
		Date: on.String(), Fan: &harvestv1.Fan{LowGrams: d.Low, LikelyGrams: d.Likely, HighGrams: d.High},
		MeanGrams: d.Mean, BreakNumber: int32(d.Break), BreakPerMille: int32(d.BreakPerMille),
	}
}

// bearing forecasts the crops that may bear on the days: of each room those
// that stand in it, as pushes are judged.
func (s *Server) bearing(ctx context.Context, tx pgx.Tx, from day.Date, days int, farm string) ([]fan, *genealogy.Book, map[string]error, error) {
	crops, err := store.CropsBearing(ctx, tx, from, from.Add(days-1), farm)
	if err != nil {
		return nil, nil, nil, err
	}
	rooms := map[string]bool{}
	for _, c := range crops {
		rooms[c.RoomID] = true
	}
	book, err := store.Book(ctx, tx, slices.Collect(maps.Keys(rooms)))
	if err != nil {
		return nil, nil, nil, err
	}
	standing := crops[:0]
	for _, c := range crops {
		if slices.ContainsFunc([]day.Date{max(from, c.Fill), from.Add(days - 1), min(c.Free.Add(-1), from.Add(days-1))}, func(on day.Date) bool {
			stands, ok := book.CropOn(c.RoomID, on)
			return ok && stands.ID == c.ID
		}) {
			standing = append(standing, c)
		}
	}
	list, failed, err := s.fans(ctx, tx, standing, from, days)
	return list, book, failed, err
}
