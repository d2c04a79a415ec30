package server

import (
	"context"
	"fmt"
	"sync"

	"breakshare.example/services/platform/fault"
	"breakshare.example/services/platform/identity"
	"breakshare.example/services/platform/pg"
	"breakshare.example/services/scheduling/internal/calendar"
	"breakshare.example/services/scheduling/internal/demand"
	"breakshare.example/services/scheduling/internal/store"
)

const (
	quarterWeeks = 13
	// historyWeeks is how far back orders count for the forecast: five years, so
	// that the season of a week is seen four times.
	historyWeeks = 261
	// horizonWeeks is how far ahead is forecast.
	horizonWeeks = 104
)

// span is a run of weeks asked for.
type span struct {
	today   calendar.Date
	first   calendar.Date // a Monday
	weeks   int
	current calendar.Date // the Monday of today's week
}

// end is the Monday after the last week.
func (s span) end() calendar.Date { return s.first.Add(7 * s.weeks) }

// span reads the weeks of a request. Without a first week they begin ahead weeks
// after the current one, without a number there are usual of them.
func (s *Server) span(ctx context.Context, db pg.DB, first string, weeks int32, usual, ahead int) (span, error) {
	today, err := s.today(ctx, db)
	if err != nil {
		return span{}, err
	}
	out := span{today: today, current: today.Week(), first: today.Week().Add(7 * ahead), weeks: int(weeks)}
	if out.weeks == 0 {
		out.weeks = usual
	}
	if first != "" {
		if out.first, err = mondayFrom(first, "first_week"); err != nil {
			return span{}, err
		}
	}
	if last := out.current.Add(7 * horizonWeeks); out.end() > last {
		return span{}, fault.InvalidField("first_week", "the weeks end on %s; nothing is forecast after %s", out.end(), last)
	}
	return out, nil
}

// outlook is the forecast of one product.
type outlook struct {
	product  store.Product
	forecast demand.Result
	history  int // weeks known
	weeks    []outlookWeek
}

type outlookWeek struct {
	week                  calendar.Date
	grams, model, ordered int64
	standing              int64
	holiday               string
	override              *store.Override
}

// outlook forecasts the products, or the one asked for, for the weeks of a span;
// weeks before the current one are left out.
func (s *Server) outlook(ctx context.Context, db pg.DB, span span, productID string) ([]outlook, error) {
	products, err := store.ListProducts(ctx, db, productID)
	if err != nil || len(products) == 0 {
		return nil, err
	}
	past := span.current.Add(-7 * historyWeeks)
	ordered, err := store.ListOrdered(ctx, db, past)
	if err != nil {
		return nil, err
	}
	overrides, err := store.ListOverrides(ctx, db, span.current)
	if err != nil {
		return nil, err
	}
	days, _, err := store.GetWorkingDays(ctx, db)
	if err != nil {
		return nil, err
	}
	holidays := markedWeeks(days.Marked, span.current)
	standing, err := standingFrom(ctx, db, span, past, products, days.Marked)
	if err != nil {
		return nil, err
	}
	coopID := identity.Must(ctx).CoopID
	out := make([]outlook, len(products))
	for i, p := range products {
		known := map[calendar.Date]store.Ordered{}
		for _, o := range ordered {
			if o.ProductID == p.ID {
				known[o.Week] = o
			}
		}
		o := outlook{product: p}
		history := pastWeeks(known, standing.replaced(p.ID), span.current)
		o.history = len(history)
		o.forecast, err = s.forecasts.of(coopID+"/"+p.ID, demand.Input{
			History: history, Standing: standing.ahead(p.ID, known), Holidays: holidays, First: span.current, Weeks: horizonWeeks,
		})
		if err != nil {
			return nil, fmt.Errorf("forecast of product %q: %w", p.ID, err)
		}
		for _, w := range o.forecast.Weeks {
			if w.Week >= span.first && w.Week < span.end() {
				o.weeks = append(o.weeks, outlookWeekOf(w, known[w.Week].Grams, p.ID, overrides))
			}
		}
		out[i] = o
	}
	return out, nil
}

func outlookWeekOf(w demand.Week, ordered int64, productID string, overrides []store.Override) outlookWeek {
	out := outlookWeek{week: w.Week, model: w.ModelGrams, ordered: ordered, standing: w.StandingGrams, holiday: w.Holiday, grams: max(w.ModelGrams, ordered)}
	for i, o := range overrides {
		if o.ProductID == productID && o.Week == w.Week && o.Grams != nil {
			out.override, out.grams = &overrides[i], *o.Grams
		}
	}
	return out
}

// pastWeeks is the history of a product: from its first order on, a week without
// one is a week in which nothing was wanted. What standing orders have taken the
// place of since counts as theirs.
func pastWeeks(known map[calendar.Date]store.Ordered, replaced []demand.Standing, current calendar.Date) []demand.Past {
	first := current
	for week := range known {
		first = min(first, week)
	}
	var out []demand.Past
	for week := first; week < current; week = week.Add(7) {
		out = append(out, demand.Past{Week: week, Grams: known[week].Grams, StandingGrams: known[week].StandingGrams})
	}
	for _, r := range replaced {
		if r.Week >= first && r.Week < current {
			out[r.Week.Sub(first)/7].StandingGrams += r.Grams
		}
	}
	return out
}

// markedWeeks are the weeks of the marked days within reach of the forecast; of
// two in one week the earlier day speaks.
func markedWeeks(days []store.MarkedDay, current calendar.Date) []demand.Holiday {
	var out []demand.Holiday
	seen := map[calendar.Date]bool{}
	for _, d := range days {
		week := d.On.Week()
		if seen[week] || week < current.Add(-7*historyWeeks) || week >= current.Add(7*horizonWeeks) {
			continue
		}
		seen[week] = true
		out = append(out, demand.Holiday{Week: week, Name: d.Name})
	}
	return out
}

// forecastCache keeps the last forecast of each product of each co-op, since a fit
// costs more than all else that a page asks for. It is taken again only for the
// very same history, standing orders, holidays and week.
type forecastCache struct {
	mu   sync.Mutex
	last map[string]cachedForecast
}

type cachedForecast struct {
	input  string
	result demand.Result
}

func (c *forecastCache) of(key string, in demand.Input) (demand.Result, error) {
	input := fmt.Sprint(in.First, in.History, in.Standing, in.Holidays)
	c.mu.Lock()
	had, ok := c.last[key]
	c.mu.Unlock()
	if ok && had.input == input {
		return had.result, nil
	}
	result, err := demand.Forecast(in)
	if err != nil {
		return demand.Result{}, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.last == nil {
		c.last = map[string]cachedForecast{}
	}
	c.last[key] = cachedForecast{input: input, result: result}
	return result, nil
}
