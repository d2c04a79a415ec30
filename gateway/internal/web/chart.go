package web

import (
	"cmp"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// Measures of a lot's chart, in its own units.
const (
	chartWidth, chartHeight = 720, 200
	chartLeft, chartRight   = 52, 8
	chartTop, chartFoot     = 18, 22
	// chartPoints is how many points of a probe are asked for: as many as a screen can tell
	// apart, and few enough that twenty probes fit a page.
	chartPoints = 120
	// chartTicks is how many values are written at the side, at most.
	chartTicks = 5
	// probeStyles is how many ways lines are told apart; more probes take turns.
	probeStyles = 6
)

// lotChart is what one kind of probe read, with the limits drawn in.
type lotChart struct {
	Kind          string // key of what is measured
	Unit          string
	Width, Height int
	Left, Right   int
	Bottom        int
	Values        []tickMark
	Times         []tickMark
	Limits        []limitLine
	Marks         []tickMark
	Probes        []probeLine
	Readings      *table
}

// tickMark is a value or an instant at its place. Label is a text, or a key for a mark.
type tickMark struct {
	At    int
	Label string
}

// limitLine is one end of a band that a criterion sets.
type limitLine struct {
	Y                  int
	Value, Requirement string
}

// probeLine is one probe: the line of its means, the band of what it read, and in words.
type probeLine struct {
	Name        string
	Style       int
	Path, Band  string
	Least, Most string
}

// units are those of what is measured beside temperatures.
var units = map[compostlotv1.ReadingKind]string{
	compostlotv1.ReadingKind_READING_KIND_AMMONIA: "ppm", compostlotv1.ReadingKind_READING_KIND_CARBON_DIOXIDE: "ppm", compostlotv1.ReadingKind_READING_KIND_HYDROGEN_SULPHIDE: "ppm",
	compostlotv1.ReadingKind_READING_KIND_OXYGEN: "%", compostlotv1.ReadingKind_READING_KIND_MOISTURE: "%", compostlotv1.ReadingKind_READING_KIND_NITROGEN: "%",
	compostlotv1.ReadingKind_READING_KIND_PH: "pH",
}

func temperature(kind compostlotv1.ReadingKind) bool {
	return kind == compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE || kind == compostlotv1.ReadingKind_READING_KIND_AIR_TEMPERATURE
}

// unitOf is the unit that a kind of reading is shown in.
func (v *visit) unitOf(kind compostlotv1.ReadingKind) string {
	if temperature(kind) {
		return v.words.DegreeUnit()
	}
	return units[kind]
}

// inUnits is a chart in the units that are shown.
func (v *visit) inUnits(chart *compostlotv1.LotChart) *compostlotv1.LotChart {
	if !v.words.Units().Fahrenheit {
		return chart
	}
	shown := proto.CloneOf(chart)
	for _, s := range shown.GetSeries() {
		for _, values := range [][]int64{s.GetLeast(), s.GetMean(), s.GetMost()} {
			for i := range values {
				if temperature(s.GetKind()) {
					values[i] = v.words.Temperature(values[i])
				}
			}
		}
	}
	for _, l := range shown.GetLimits() {
		for _, end := range []*int64{l.LowThousandths, l.HighThousandths} {
			if end != nil && temperature(l.GetKind()) {
				*end = v.words.Temperature(*end)
			}
		}
	}
	return shown
}

func readingKey(kind compostlotv1.ReadingKind) string {
	return "reading." + strings.ToLower(strings.TrimPrefix(kind.String(), "READING_KIND_"))
}

// chartsOf draws a chart for each kind that was measured.
func chartsOf(v *visit, chart *compostlotv1.LotChart) []lotChart {
	chart = v.inUnits(chart)
	byKind := map[compostlotv1.ReadingKind][]*compostlotv1.ChartSeries{}
	for _, s := range chart.GetSeries() {
		if len(s.GetSeconds()) > 0 {
			byKind[s.GetKind()] = append(byKind[s.GetKind()], s)
		}
	}
	var all []lotChart
	for _, kind := range sortedKeys(byKind) {
		d := newChart(v, byKind[kind], chart, kind)
		for _, s := range byKind[kind] {
			d.probe(s)
		}
		d.Readings = d.readings(byKind[kind])
		all = append(all, d.lotChart)
	}
	return all
}

// chartDrawing knows where an instant and a value lie.
type chartDrawing struct {
	lotChart
	v             *visit
	first, last   int64 // Unix seconds
	bottom, top   int64 // thousandths
	bucketSeconds int64
	styles        int
}

func newChart(v *visit, series []*compostlotv1.ChartSeries, chart *compostlotv1.LotChart, kind compostlotv1.ReadingKind) *chartDrawing {
	d := &chartDrawing{v: v, bucketSeconds: max(1, chart.GetBucketSeconds()), lotChart: lotChart{
		Kind: readingKey(kind), Unit: v.unitOf(kind), Width: chartWidth, Height: chartHeight, Left: chartLeft, Right: chartWidth - chartRight, Bottom: chartHeight - chartFoot,
	}}
	d.first, d.last = series[0].GetSeconds()[0], series[0].GetSeconds()[0]
	d.bottom, d.top = series[0].GetLeast()[0], series[0].GetMost()[0]
	for _, s := range series {
		d.first, d.last = min(d.first, s.GetSeconds()[0]), max(d.last, s.GetSeconds()[len(s.GetSeconds())-1])
		d.bottom, d.top = min(d.bottom, slices.Min(s.GetLeast())), max(d.top, slices.Max(s.GetMost()))
	}
	for _, l := range chart.GetLimits() {
		if l.GetKind() != kind {
			continue
		}
		for _, end := range []*int64{l.LowThousandths, l.HighThousandths} {
			if end != nil {
				d.bottom, d.top = min(d.bottom, *end), max(d.top, *end)
			}
		}
	}
	d.last = max(d.last, d.first+1)
	d.ticks()
	d.limits(chart.GetLimits(), kind)
	for _, m := range chart.GetMarks() {
		if at := m.GetTime().AsTime().Unix(); at >= d.first && at <= d.last {
			d.Marks = append(d.Marks, tickMark{d.x(at), markKey(m.GetMark())})
		}
	}
	return d
}

func markKey(m compostlotv1.PhaseMark) string {
	return "mark." + strings.ToLower(strings.TrimPrefix(m.String(), "PHASE_MARK_"))
}

func (d *chartDrawing) x(second int64) int {
	return d.Left + int((second-d.first)*int64(d.Right-d.Left)/(d.last-d.first))
}

func (d *chartDrawing) y(value int64) int {
	return d.Bottom - int((value-d.bottom)*int64(d.Bottom-chartTop)/(d.top-d.bottom))
}

// ticks rounds the ends to round values and writes these at the side, and days at the foot.
func (d *chartDrawing) ticks() {
	step := roundStep(max(1, d.top-d.bottom))
	d.bottom, d.top = floorTo(d.bottom, step), -floorTo(-d.top, step)
	if d.top == d.bottom {
		d.top += step
	}
	for value := d.bottom; value <= d.top; value += step {
		d.Values = append(d.Values, tickMark{d.y(value), d.v.words.Tenths(value)})
	}
	begin := time.Unix(d.first, 0).In(d.v.zone)
	days := int((d.last-d.first)/int64(24*time.Hour/time.Second)) + 1
	every := (days + 6) / 7
	for day := time.Date(begin.Year(), begin.Month(), begin.Day()+1, 0, 0, 0, 0, d.v.zone); day.Unix() < d.last; day = day.AddDate(0, 0, every) {
		d.Times = append(d.Times, tickMark{d.x(day.Unix()), d.v.words.Date(day.Format(time.DateOnly))})
	}
	if len(d.Times) == 0 {
		d.Times = append(d.Times, tickMark{d.Left, begin.Format("15:04")})
	}
}

// roundStep is the smallest of 1, 2 and 5 times a power of ten that divides a span into few
// enough steps; never below a tenth of a unit, which is as fine as values are written.
func roundStep(span int64) int64 {
	for step := int64(100); ; step *= 10 {
		for _, times := range []int64{1, 2, 5} {
			if span/(step*times) < chartTicks || step > span {
				return step * times
			}
		}
	}
}

func floorTo(value, step int64) int64 {
	down := value / step * step
	if down > value {
		down -= step
	}
	return down
}

func (d *chartDrawing) limits(all []*compostlotv1.ChartLimit, kind compostlotv1.ReadingKind) {
	seen := map[int64]bool{}
	for _, l := range all {
		if l.GetKind() != kind {
			continue
		}
		for _, end := range []*int64{l.LowThousandths, l.HighThousandths} {
			if end == nil || seen[*end] {
				continue
			}
			seen[*end] = true
			d.Limits = append(d.Limits, limitLine{d.y(*end), d.v.words.Tenths(*end), l.GetRequirement()})
		}
	}
	slices.SortStableFunc(d.Limits, func(a, b limitLine) int { return cmp.Compare(a.Y, b.Y) })
}

// probe draws one probe. A gap of more than two buckets breaks its line: nothing is drawn
// where nothing was read.
func (d *chartDrawing) probe(s *compostlotv1.ChartSeries) {
	var path, band strings.Builder
	from := 0
	seconds := s.GetSeconds()
	for i := range seconds {
		pen := "L"
		if i == 0 || seconds[i]-seconds[i-1] > 2*d.bucketSeconds {
			d.band(&band, s, from, i)
			pen, from = "M", i
		}
		path.WriteString(pen + strconv.Itoa(d.x(seconds[i])) + " " + strconv.Itoa(d.y(s.GetMean()[i])))
	}
	d.band(&band, s, from, len(seconds))
	d.Probes = append(d.Probes, probeLine{
		Name: s.GetProbeId(), Style: d.styles % probeStyles, Path: path.String(), Band: band.String(),
		Least: d.v.words.Tenths(slices.Min(s.GetLeast())), Most: d.v.words.Tenths(slices.Max(s.GetMost())),
	})
	d.styles++
}

// readings lists what each probe read, with the line by which it is drawn.
func (d *chartDrawing) readings(series []*compostlotv1.ChartSeries) *table {
	id := strings.ReplaceAll(strings.TrimPrefix(d.Kind, "reading."), "_", "-")
	t := &table{ID: id, Caption: d.v.words.T(d.Kind), Columns: []column{
		{Key: "chart.probe", Name: "probe_id"}, {Key: "chart.least", Name: "least_thousandths", Figures: true}, {Key: "chart.most", Name: "most_thousandths", Figures: true},
		{Key: "chart.last", Name: "last_thousandths", Figures: true}, {Key: "chart.read", Name: "read_at"},
	}}
	tenths := func(thousandths int64) cell { return figure(thousandths, d.v.words.Tenths(thousandths)) }
	for i, s := range series {
		probe := name(s.GetProbeId())
		probe.Key = s.GetProbeId()
		probe.HTML = template.HTML(`<svg class="bar" viewBox="0 0 24 10" aria-hidden="true"><path class="probe p`+strconv.Itoa(i%probeStyles)+`" d="M0 5H24"/></svg> `) + probe.HTML
		last := len(s.GetSeconds()) - 1
		t.Rows = append(t.Rows, []cell{
			probe, tenths(slices.Min(s.GetLeast())), tenths(slices.Max(s.GetMost())), tenths(s.GetMean()[last]), d.v.instant(time.Unix(s.GetSeconds()[last], 0)),
		})
	}
	return d.v.table(t)
}

// band closes the outline of what was read between two points: along the most, and back along
// the least.
func (d *chartDrawing) band(out *strings.Builder, s *compostlotv1.ChartSeries, from, to int) {
	if to-from < 2 {
		return
	}
	pen := "M"
	for i := from; i < to; i++ {
		out.WriteString(pen + strconv.Itoa(d.x(s.GetSeconds()[i])) + " " + strconv.Itoa(d.y(s.GetMost()[i])))
		pen = "L"
	}
	for i := to - 1; i >= from; i-- {
		out.WriteString("L" + strconv.Itoa(d.x(s.GetSeconds()[i])) + " " + strconv.Itoa(d.y(s.GetLeast()[i])))
	}
	out.WriteString("Z")
}
