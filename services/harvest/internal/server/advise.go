package server

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/harvest/internal/day"
	"breakshare.example/services/harvest/internal/endcrop"
	"breakshare.example/services/harvest/internal/growth"
	"breakshare.example/services/harvest/internal/store"
	"breakshare.example/services/platform/fault"
)

// Reasons of the faults about advice on the end of a crop.
const (
	ReasonNoCosts = "NO_COSTS"
	ReasonNoPrice = "NO_PRICE"
)

// economy is what advice rests on besides the forecast.
type economy struct {
	costs     map[string]store.CropCosts
	products  map[string]store.Product
	incidents map[string][]store.Incident // open, by room
	currency  string
	today     day.Date
}

func (s *Server) economy(ctx context.Context, tx pgx.Tx) (e economy, err error) {
	cal, err := s.calendar(ctx, tx)
	if err != nil {
		return e, err
	}
	e = economy{costs: map[string]store.CropCosts{}, products: map[string]store.Product{}, incidents: map[string][]store.Incident{}, today: cal.today()}
	coop, err := store.FindCoop(ctx, tx)
	if err != nil {
		return e, err
	}
	e.currency = coop.CurrencyCode
	costs, err := store.AllCosts(ctx, tx)
	if err != nil {
		return e, err
	}
	for _, c := range costs {
		e.costs[c.ProgrammeID] = c
	}
	products, err := store.AllProducts(ctx, tx)
	if err != nil {
		return e, err
	}
	for _, p := range products {
		e.products[p.ID] = p
	}
	incidents, err := store.Incidents(ctx, tx, "", "", false)
	for _, i := range incidents {
		e.incidents[i.RoomID] = append(e.incidents[i.RoomID], i)
	}
	return e, err
}

// AdviseEnd weighs another break against clearing the room.
func (s *Server) AdviseEnd(ctx context.Context, req *harvestv1.AdviseEndRequest) (*harvestv1.AdviseEndResponse, error) {
	resp := &harvestv1.AdviseEndResponse{}
	err := s.read(ctx, func(ctx context.Context, tx pgx.Tx) error {
		e, err := s.economy(ctx, tx)
		if err != nil {
			return err
		}
		var crops []store.Crop
		if id := req.GetCropId(); id != "" {
			crop, err := ownCrop(ctx, tx, id)
			if err != nil {
				return err
			}
			crops = []store.Crop{crop}
		} else if crops, err = standingOn(ctx, tx, e.today, ownFarm(ctx)); err != nil {
			return err
		}
		list, failed, err := s.fans(ctx, tx, crops, e.today, longestFan)
		if err != nil {
			return err
		}
		made := map[string]fan{}
		for _, f := range list {
			made[f.crop.ID] = f
		}
		for _, c := range crops {
			f, ok := made[c.ID]
			if req.GetCropId() == "" && ok && f.picked == 0 && e.today < c.FirstPick {
				continue // not in pick yet
			}
			var advice *harvestv1.EndAdvice
			if err = failed[c.ID]; err != nil {
				err = noForecast(c.ID, err)
			} else {
				advice, err = s.advise(ctx, tx, e, f)
			}
			switch fallen := (*fault.Error)(nil); {
			case err == nil:
				resp.Advice = append(resp.Advice, advice)
			case req.GetCropId() == "" && errors.As(err, &fallen) && fallen.Kind == fault.Precondition:
				resp.NotAdvised = append(resp.NotAdvised, &harvestv1.CropNotForecast{CropId: c.ID, Reason: fallen.Message})
			default:
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return resp, nil
}

// advise weighs one crop.
func (s *Server) advise(ctx context.Context, tx pgx.Tx, e economy, f fan) (*harvestv1.EndAdvice, error) {
	costs, ok := e.costs[f.crop.ProgrammeID]
	if !ok {
		if costs, ok = e.costs[""]; !ok {
			return nil, fault.New(fault.Precondition, ReasonNoCosts, "no costs of growing are saved, for programme %q or for all: save them first", f.crop.ProgrammeID)
		}
	}
	price, err := e.price(f)
	if err != nil {
		return nil, err
	}
	next, err := store.NextFill(ctx, tx, f.crop.RoomID, f.crop.ID, e.today)
	if err != nil {
		return nil, err
	}
	in := endcrop.Input{
		Margin:     endcrop.Margin{PricePerKg: price, PickingPerKg: costs.PickingKg, HandlingPerKg: costs.HandlingKg},
		RoomPerDay: costs.DayM2 * int64(f.crop.AreaM2), Fresh: freshCycle(f.crop, costs), Incident: worst(e.incidents[f.crop.RoomID]),
	}
	if next != nil {
		in.BusyDays = max(0, next.Sub(e.today)-in.Fresh.CookOutDays)
	}
	for _, b := range f.forecast.Breaks() {
		in.Breaks = append(in.Breaks, endcrop.Break{
			Number: b.Number, LastDay: max(0, f.crop.Fill.Add(b.LastDay).Sub(e.today)), Low: b.Low, Likely: b.Likely, High: b.High,
		})
	}
	a, err := endcrop.Advise(in)
	var wrong *endcrop.InputError
	if errors.As(err, &wrong) {
		return nil, fault.New(fault.Precondition, "NO_ADVICE", "crop %s cannot be advised on: %v", f.crop.ID, err)
	}
	if err != nil {
		return nil, err
	}
	return adviceMessage(f.crop, a, price, e), nil
}

// price is what a kilogram of the crop brings, by what it is picked as.
func (e economy) price(f fan) (int64, error) {
	var value, weight int64
	for _, s := range f.shares {
		p := e.products[s.Name]
		if p.PackGrams > 0 && p.PackValue > 0 {
			value += s.PerMille * (p.PackValue * 1000 / p.PackGrams)
			weight += s.PerMille
		}
	}
	if weight == 0 {
		return 0, fault.New(fault.Precondition, ReasonNoPrice, "no product with a weight and a value is known that crop %s is picked as: save one first", f.crop.ID)
	}
	return (value + weight/2) / weight, nil
}

// freshCycle is a new cycle of the same programme in the same room.
func freshCycle(c store.Crop, costs store.CropCosts) endcrop.Fresh {
	area := int64(c.AreaM2)
	f := endcrop.Fresh{Fill: costs.FillM2 * area, Spawn: costs.SpawnM2 * area, Casing: costs.CasingM2 * area, CookOut: costs.CookOutM2 * area}
	p := c.Profile
	f.FillToFirstPick = int(p.FirstPick.Usual)
	for _, s := range c.Steps {
		switch {
		case s.Step == p.After:
			f.FillToFirstPick = s.Start.Sub(c.Fill) + int(p.FirstPick.Usual)
		case s.Step == growth.CookOut && s.Days != nil:
			f.CookOutDays = int(s.Days.Usual)
		case s.Step == growth.Idle && s.Days != nil:
			f.IdleDays = int(s.Days.Usual)
		}
	}
	f.FillToFirstPick = max(0, f.FillToFirstPick)
	whole := area * p.Yield.Usual
	for i, share := range p.Shares {
		days := p.Interval.Usual
		if i == 0 {
			days = p.Width.Usual
		}
		f.Breaks = append(f.Breaks, endcrop.FreshBreak{Grams: whole / 1000 * share, Days: int(days)})
	}
	return f
}

// worst is the incident of a room from which most is to be lost; nil where none
// has a figure.
func worst(list []store.Incident) *endcrop.Incident {
	var out *endcrop.Incident
	for _, i := range list {
		if i.ExpectedLoss != nil && (out == nil || *i.ExpectedLoss > out.LossNow) {
			out = &endcrop.Incident{LossNow: *i.ExpectedLoss, GrowthPerMille: int64(i.GrowthPerMille)}
		}
	}
	return out
}

func adviceMessage(c store.Crop, a endcrop.Advice, price int64, e economy) *harvestv1.EndAdvice {
	m := &harvestv1.EndAdvice{
		CropId: c.ID, RoomId: c.RoomID, FarmId: c.FarmID, Sure: a.Sure, KeepThroughBreak: int32(a.KeepThrough),
		ClearOnDate: e.today.Add(a.ClearOn).String(), WaitingCostsFromDate: e.today.Add(a.CostsFrom).String(), WaitingCostsMinorPerDay: a.DelayPerDay,
		NextSalesMinor: a.NextNet.Sales, NextPickingAndHandlingMinor: a.NextNet.PickingAndHandling, NextRoomMinor: a.NextNet.Room,
		NextIncidentMinor: a.NextNet.Incident, NextDays: a.Next.Days, FreshMinorPerDay: a.Fresh.PerDay(), FreshBreaks: int32(a.FreshBreaks),
		GainLowMinor: a.GainLow, GainLikelyMinor: a.GainLikely, GainHighMinor: a.GainHigh, PriceMinorPerKg: price, CurrencyCode: e.currency,
	}
	if a.Next.Days > 0 {
		perDay := a.Next.PerDay()
		m.NextMinorPerDay = &perDay
	}
	switch a.Verdict {
	case endcrop.ClearRoom:
		m.Verdict = harvestv1.EndVerdict_END_VERDICT_CLEAR_ROOM
		m.Reason = fmt.Sprintf("clear the room: no break to come earns as much per room-day as a fresh cycle; waiting beyond %s costs", m.GetWaitingCostsFromDate())
	case endcrop.AnotherBreak:
		m.Verdict = harvestv1.EndVerdict_END_VERDICT_ANOTHER_BREAK
		m.Reason = fmt.Sprintf("keep the crop through break %d, then clear the room on %s; waiting beyond %s costs", a.KeepThrough, m.GetClearOnDate(), m.GetWaitingCostsFromDate())
	}
	if !a.Sure {
		m.Reason += "; the forecast is too wide to be sure"
	}
	return m
}
