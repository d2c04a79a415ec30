package web

import (
	"strings"
	"time"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
	harvestv1 "breakshare.example/proto/gen/breakshare/harvest/v1"
)

// climateGap is after how long without a reading the line of a room breaks, halved.
const climateGap = 30 * 60

// climateCharts draws a chart for each kind that was measured in a room on a day, from midnight to
// midnight, and lists its readings.
func climateCharts(v *visit, trace *harvestv1.GetClimateTraceResponse) []lotChart {
	of := map[harvestv1.ClimateKind][]*harvestv1.ClimateReading{}
	for _, r := range trace.GetReadings() {
		of[r.GetKind()] = append(of[r.GetKind()], r)
	}
	var all []lotChart
	for _, kind := range sortedKeys(of) {
		all = append(all, climateChart(v, trace, kind, of[kind]))
	}
	return all
}

func climateChart(v *visit, trace *harvestv1.GetClimateTraceResponse, kind harvestv1.ClimateKind, readings []*harvestv1.ClimateReading) lotChart {
	shown := climateKinds[kind]
	begin, err := time.ParseInLocation(time.DateOnly, trace.GetDate(), v.zone)
	if err != nil {
		begin = readings[0].GetTime().AsTime().In(v.zone)
	}
	d := &chartDrawing{v: v, bucketSeconds: climateGap, first: begin.Unix(), last: begin.AddDate(0, 0, 1).Unix(), lotChart: lotChart{
		Kind: shown.key, Unit: shown.unitShown(v), Width: chartWidth, Height: chartHeight, Left: chartLeft, Right: chartWidth - chartRight, Bottom: chartHeight - chartFoot,
	}}
	series := &compostlotv1.ChartSeries{}
	for _, r := range readings {
		series.Seconds = append(series.Seconds, r.GetTime().AsTime().Unix())
		series.Mean = append(series.Mean, shown.thousandths(v, int64(r.GetValue())))
	}
	series.Least, series.Most = series.Mean, series.Mean
	d.bottom, d.top = series.Mean[0], series.Mean[0]
	for _, value := range series.Mean {
		d.bottom, d.top = min(d.bottom, value), max(d.top, value)
	}
	var ends []int64
	for _, l := range trace.GetLimits() {
		for _, end := range []*int64{l.Least, l.Most} {
			if l.GetKind() == kind && end != nil {
				ends = append(ends, shown.thousandths(v, *end))
			}
		}
	}
	for _, end := range ends {
		d.bottom, d.top = min(d.bottom, end), max(d.top, end)
	}
	d.ticks()
	for _, end := range ends {
		d.Limits = append(d.Limits, limitLine{d.y(end), v.words.Tenths(end), trace.GetStep()})
	}
	d.Times = nil
	for _, hour := range []int{0, 6, 12, 18} {
		at := time.Date(begin.Year(), begin.Month(), begin.Day(), hour, 0, 0, 0, v.zone)
		d.Times = append(d.Times, tickMark{d.x(at.Unix()), at.Format("15:04")})
	}
	d.probe(series)
	d.Probes[0].Band = "" // one instrument: what it read has no width
	d.Readings = climateTable(v, kind, readings)
	return d.lotChart
}

// climateTable lists the readings of a kind.
func climateTable(v *visit, kind harvestv1.ClimateKind, readings []*harvestv1.ClimateReading) *table {
	shown := climateKinds[kind]
	id := strings.NewReplacer("reading.", "", "climate.", "", "_", "-").Replace(shown.key)
	t := &table{ID: id, Caption: v.words.T(shown.key), Columns: []column{
		{Key: "chart.read", Name: "read_at"}, {Key: shown.key, Name: "value_thousandths", Figures: true, Unit: shown.unitShown(v)},
	}}
	for _, r := range readings {
		value := shown.thousandths(v, int64(r.GetValue()))
		t.Rows = append(t.Rows, []cell{v.instant(r.GetTime().AsTime()), figure(value, v.words.Tenths(value))})
	}
	return v.table(t)
}
