package server

import (
	"cmp"
	"context"
	"slices"

	"github.com/jackc/pgx/v5"
	"google.golang.org/protobuf/types/known/timestamppb"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/fusion"
	"breakshare.example/services/harvest/internal/lots"
	"breakshare.example/services/harvest/internal/outlook"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
)

// figure is one room, product and day with all figures side by side.
type figure struct {
	lot   store.PickLot // id, farm, room, product and day
	out   fusion.Output
	model bool // the model says something
	late  bool
	old   store.Expected // as it stands; zero where nothing does
	fan   *fan           // nil where the model says nothing
}

// figures lays what was said beside what the model says for each day of the
// span. A product that nobody pushed and of which the model expects nothing is
// left out. habits are nil to have them read.
func (s *Server) figures(ctx context.Context, tx pgx.Tx, cal calendar, from, to day.Date, farm string, habits *outlook.Habits) ([]figure, error) {
	expected, err := store.ExpectedOfDays(ctx, tx, from, to, farm)
	if err != nil {
		return nil, err
	}
	if habits == nil {
		if habits, err = readHabits(ctx, tx, min(cal.today(), from)); err != nil {
			return nil, err
		}
	}
	said := map[string]store.Expected{}
	for _, e := range expected {
		said[e.LotID] = e
	}
	var out []figure
	done := map[string]bool{}
	for _, part := range spansOf(cal.today(), from, to) {
		list, book, _, err := s.bearing(ctx, tx, part.start, part.days, farm)
		if err != nil {
			return nil, err
		}
		for _, f := range list {
			for on := max(part.from, f.first); on <= part.to; on++ {
				if stands, ok := book.CropOn(f.crop.RoomID, on); !ok || stands.ID != f.crop.ID {
					continue
				}
				made, err := figuresOf(f, on, said, habits)
				if err != nil {
					return nil, err
				}
				for _, m := range made {
					done[m.lot.ID] = true
				}
				out = append(out, made...)
			}
		}
	}
	for _, e := range expected {
		if done[e.LotID] || e.StandIn {
			continue
		}
		band := bandOf(e)
		fused, err := habits.Fuse(outlook.Figure{FarmID: e.FarmID, Said: band})
		if err != nil {
			return nil, err
		}
		out = append(out, figure{lot: lotOf(e), out: fused, late: e.Late, old: e})
	}
	slices.SortFunc(out, func(a, b figure) int {
		return cmp.Or(cmp.Compare(a.lot.Day, b.lot.Day), cmp.Compare(a.lot.RoomID, b.lot.RoomID), cmp.Compare(a.lot.ProductID, b.lot.ProductID))
	})
	return out, nil
}

// forecastSpan is a part of a span of days with the days over which it is
// forecast.
type forecastSpan struct {
	from, to, start day.Date
	days            int
}

// spansOf parts a span of days into those up to today, of which each was forecast
// by what was known before the first, and those to come. The latter are forecast
// over the same four weeks from tomorrow on, whichever of them are asked for:
// chance is drawn anew for another span, and a figure must not depend on who asks.
func spansOf(today, from, to day.Date) (out []forecastSpan) {
	if from <= today {
		last := min(to, today)
		out = append(out, forecastSpan{from, last, from, last.Sub(from) + 1})
	}
	if to > today {
		out = append(out, forecastSpan{max(from, today.Add(1)), to, today.Add(1), max(mostOutlookDays, to.Sub(today))})
	}
	return out
}

// readHabits learns how the co-op's figures err, as of a day.
func readHabits(ctx context.Context, tx pgx.Tx, asOf day.Date) (*outlook.Habits, error) {
	past, err := store.PastOfDays(ctx, tx, asOf.Add(-outlook.LearnDays), asOf.Add(-1), "")
	return outlook.New(past, asOf), err
}

// figuresOf are the figures of the products of one crop on a day.
func figuresOf(f fan, on day.Date, said map[string]store.Expected, habits *outlook.Habits) ([]figure, error) {
	d, ok := f.at(on)
	if !ok {
		return nil, nil
	}
	low, likely, high := f.parts(d.Low), f.parts(d.Likely), f.parts(d.High)
	var out []figure
	for _, p := range f.products {
		lot := store.PickLot{ID: lots.Code(f.crop.RoomID, p.ID, on), FarmID: f.crop.FarmID, RoomID: f.crop.RoomID, ProductID: p.ID, Day: on}
		e, known := said[lot.ID]
		if known && e.CropID != f.crop.ID {
			continue // another crop stands there that day
		}
		model := bandOfParts(low[p.ID], likely[p.ID], high[p.ID])
		if !known && model.Likely == 0 {
			continue
		}
		in := outlook.Figure{FarmID: f.crop.FarmID, Model: &model, Floor: max(1, f.most/50), Ceiling: f.most}
		if known && !e.StandIn {
			in.Said = bandOf(e)
		}
		fused, err := habits.Fuse(in)
		if err != nil {
			return nil, err
		}
		out = append(out, figure{lot: lot, out: fused, model: true, late: in.Said != nil && e.Late, old: e, fan: &f})
	}
	return out, nil
}

// bandOfParts puts right what the rounding of parts may put out of order by a
// gram.
func bandOfParts(low, likely, high int64) fusion.Band {
	return fusion.Band{Low: min(low, likely), Likely: likely, High: max(likely, high)}
}

// programmeBand is what the programme alone would say, without what the co-op's
// ended crops taught; nil where it says nothing.
func (f figure) programmeBand() (*fusion.Band, error) {
	if f.fan == nil {
		return nil, nil
	}
	plain, err := f.fan.unlearned()
	if err != nil {
		return nil, err
	}
	d, ok := plain.at(f.lot.Day)
	if !ok {
		return nil, nil
	}
	id := f.lot.ProductID
	band := bandOfParts(plain.parts(d.Low)[id], plain.parts(d.Likely)[id], plain.parts(d.High)[id])
	return &band, nil
}

func bandOf(e store.Expected) *fusion.Band {
	return &fusion.Band{Low: e.Low, Likely: e.Likely, High: e.High}
}

func lotOf(e store.Expected) store.PickLot {
	return store.PickLot{ID: e.LotID, FarmID: e.FarmID, RoomID: e.RoomID, ProductID: e.ProductID, Day: e.Day}
}

// mostOutlookDays is the longest span of which figures are laid side by side.
const mostOutlookDays = 28

// ListOutlooks lays all figures of a span of days side by side. Of a closed day
// it shows those with which it was closed.
func (s *Server) ListOutlooks(ctx context.Context, req *harvestv1.ListOutlooksRequest) (*harvestv1.ListOutlooksResponse, error) {
	from, to, err := span(req.GetFromDate(), req.GetToDate())
	if err != nil {
		return nil, err
	}
	if days := to.Sub(from); days > mostOutlookDays {
		return nil, fault.InvalidField("to_date", "%s lies %d days after from_date %s: ask for %d days or fewer at once", to, days, from, mostOutlookDays)
	}
	farm, err := listedFarm(ctx, req.GetFarmId())
	if err != nil {
		return nil, err
	}
	resp := &harvestv1.ListOutlooksResponse{}
	err = s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		cal, err := s.calendar(ctx, tx)
		if err != nil {
			return err
		}
		list, err := s.figures(ctx, tx, cal, from, to, farm, nil)
		if err != nil {
			return err
		}
		resp.Outlooks, err = outlooks(ctx, tx, cal, list, from, to, farm)
		return err
	})
	return resp, err
}

// outlooks words the figures, with what was picked since.
func outlooks(ctx context.Context, tx pgx.Tx, cal calendar, list []figure, from, to day.Date, farm string) ([]*harvestv1.Outlook, error) {
	closed, err := store.OutlooksOfDays(ctx, tx, from, to, farm)
	if err != nil {
		return nil, err
	}
	past, err := store.PastOfDays(ctx, tx, from, to, farm)
	if err != nil {
		return nil, err
	}
	actual := map[string]int64{}
	for _, p := range past {
		actual[lots.Code(p.RoomID, p.ProductID, p.Day)] = p.Actual
	}
	out := make([]*harvestv1.Outlook, len(list))
	for i, f := range list {
		m := &harvestv1.Outlook{
			PickLotId: f.lot.ID, FarmId: f.lot.FarmID, RoomId: f.lot.RoomID, ProductId: f.lot.ProductID, Date: f.lot.Day.String(),
			Said: fanMessage(f.out.Push), SaidCorrected: fanMessage(f.out.PushFixed), Used: fanMessage(&f.out.Use),
			PushPerMille: int32(f.out.PushPerMille), Late: f.late,
		}
		if f.model {
			m.Model = fanMessage(&f.out.Forecast)
		}
		if o, ok := closed[f.lot.ID]; ok {
			m.ClosedAt = timestamppb.New(o.ClosedAt)
			if f.lot.Day <= cal.today() {
				m.Said, m.SaidCorrected, m.Model, m.Used = fanMessage(o.Said), fanMessage(o.Fixed), fanMessage(o.Model), fanMessage(&o.Used)
				m.PushPerMille = int32(o.PushPerMille)
			}
		}
		if grams, ok := actual[f.lot.ID]; ok {
			m.PickedGrams = &grams
		}
		out[i] = m
	}
	return out, nil
}

func fanMessage(b *fusion.Band) *harvestv1.Fan {
	if b == nil {
		return nil
	}
	return &harvestv1.Fan{LowGrams: b.Low, LikelyGrams: b.Likely, HighGrams: b.High}
}
