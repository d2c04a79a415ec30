package web

import (
	"strings"
	"time"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
	"breakshare.example/services/platform/identity"
)

// fanPage is what the coming four weeks are expected to bear, with its uncertainty.
type fanPage struct {
	Farm        string // empty for all
	Chart       *lotChart
	Products    *table
	NotForecast []notForecast
}

// notForecast is a crop of which nothing can be forecast.
type notForecast struct{ Crop, Reason string }

// showFan shows the fan of the grower's farm, or of the whole co-op.
func (p *Pages) showFan(v *visit, _ *form) (view, error) {
	page := fanPage{Farm: v.r.FormValue("farm")}
	if v.who.Role == identity.Grower {
		page.Farm = v.who.FarmID
	}
	var (
		supply *harvestv1.ForecastSupplyResponse
		n      names
	)
	err := together(v.ctx,
		ask(&supply, p.harvest.ForecastSupply, &harvestv1.ForecastSupplyRequest{FarmId: page.Farm}),
		p.naming(&n, productNames),
	)
	if err != nil {
		return view{}, err
	}
	for _, c := range supply.GetNotForecast() {
		page.NotForecast = append(page.NotForecast, notForecast{c.GetCropId(), c.GetReason()})
	}
	if len(supply.GetDays()) > 0 {
		page.Chart = fanChart(v, supply.GetDays())
		page.Products = fanTable(v, supply.GetProducts(), n)
	}
	return view{template: "fan", title: "fan.title", data: page}, nil
}

// fanChart draws the likely figure in its band of eight days in ten.
func fanChart(v *visit, days []*harvestv1.ForecastDay) *lotChart {
	series := &compostlotv1.ChartSeries{ProbeId: v.words.T("fan.likely")}
	shown := v.words.MassThousandths
	for _, d := range days {
		on, err := time.ParseInLocation(time.DateOnly, d.GetDate(), v.zone)
		if err != nil {
			continue
		}
		series.Seconds = append(series.Seconds, on.Unix())
		series.Least, series.Mean, series.Most = append(series.Least, shown(d.GetFan().GetLowGrams())), append(series.Mean, shown(d.GetFan().GetLikelyGrams())), append(series.Most, shown(d.GetFan().GetHighGrams()))
	}
	if len(series.GetSeconds()) == 0 {
		return nil
	}
	last := len(series.GetSeconds()) - 1
	d := &chartDrawing{v: v, bucketSeconds: 24 * 60 * 60, first: series.GetSeconds()[0], last: max(series.GetSeconds()[last], series.GetSeconds()[0]+1), lotChart: lotChart{
		Kind: "fan.chart", Unit: v.words.MassUnit(), Width: chartWidth, Height: chartHeight, Left: chartLeft, Right: chartWidth - chartRight, Bottom: chartHeight - chartFoot,
	}}
	for _, most := range series.GetMost() {
		d.top = max(d.top, most)
	}
	d.ticks()
	d.probe(series)
	d.Readings = fanDays(v, days)
	return &d.lotChart
}

func fanColumns(v *visit) []column {
	mass := v.words.MassUnit()
	return []column{{Key: "push.least", Name: "low_grams", Figures: true, Unit: mass}, {Key: "push.likely", Name: "likely_grams", Figures: true, Unit: mass}, {Key: "push.most", Name: "high_grams", Figures: true, Unit: mass}}
}

func fanCells(v *visit, f *harvestv1.Fan) []cell {
	return []cell{v.weight(f.GetLowGrams()), v.weight(f.GetLikelyGrams()), v.weight(f.GetHighGrams())}
}

// fanDays lists the figures of the chart.
func fanDays(v *visit, days []*harvestv1.ForecastDay) *table {
	t := &table{ID: "days", Caption: v.words.T("fan.chart"), Columns: append([]column{{Key: "fan.day", Name: "date"}}, fanColumns(v)...)}
	for _, d := range days {
		t.Rows = append(t.Rows, append([]cell{v.date(d.GetDate())}, fanCells(v, d.GetFan())...))
	}
	return v.table(t)
}

// fanTable lists the products by day.
func fanTable(v *visit, products []*harvestv1.ProductForecast, n names) *table {
	t := &table{ID: "products", Caption: v.words.T("fan.products"), Columns: append([]column{{Key: "fan.day", Name: "date"}, {Key: "word.product", Name: "product"}}, fanColumns(v)...)}
	for _, f := range products {
		t.Rows = append(t.Rows, append([]cell{v.date(f.GetDate()), name(strings.TrimSpace(n.product(f.GetProductId())))}, fanCells(v, f.GetFan())...))
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return v.table(t)
}
