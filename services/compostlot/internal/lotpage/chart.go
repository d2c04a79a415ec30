package lotpage

import (
	"fmt"
	"math"
	"slices"
	"time"

	compostlotv1 "breakshare.example/proto/gen/breakshare/compostlot/v1"
)

// chart is the probes of one kind with the limits that hold for it.
type chart struct {
	Title               string
	unit                string
	series              []line
	limits              []limit
	marks               []mark
	zone                *time.Location
	from, to, low, high float64 // ends of the axes: Unix seconds, units
}

// line is one probe: its means, and the band from least to most around them.
type line struct {
	name              string
	x                 []float64
	mean, least, most []float64
	width             float64 // of a bucket, seconds: a longer gap breaks the line
}

type limit struct {
	value float64
	text  string
}

type mark struct {
	x    float64
	text string
}

var shown = []struct {
	kind        compostlotv1.ReadingKind
	title, unit string
}{
	{compostlotv1.ReadingKind_READING_KIND_COMPOST_TEMPERATURE, "Compost temperature", "°C"},
	{compostlotv1.ReadingKind_READING_KIND_AIR_TEMPERATURE, "Air temperature", "°C"},
	{compostlotv1.ReadingKind_READING_KIND_AMMONIA, "Ammonia", "ppm"},
	{compostlotv1.ReadingKind_READING_KIND_OXYGEN, "Oxygen", "%"},
}

var markWords = map[compostlotv1.PhaseMark]string{
	compostlotv1.PhaseMark_PHASE_MARK_WETTED: "wetted", compostlotv1.PhaseMark_PHASE_MARK_FILLED: "filled", compostlotv1.PhaseMark_PHASE_MARK_LEVELLING: "levelling",
	compostlotv1.PhaseMark_PHASE_MARK_PASTEURISING: "pasteurising", compostlotv1.PhaseMark_PHASE_MARK_CONDITIONING: "conditioning",
	compostlotv1.PhaseMark_PHASE_MARK_COOLING: "cooling", compostlotv1.PhaseMark_PHASE_MARK_COOLED: "cooled",
	compostlotv1.PhaseMark_PHASE_MARK_SPAWNED: "spawned", compostlotv1.PhaseMark_PHASE_MARK_COLONISED: "colonised",
}

const milli = 1000

// charts are the logged kinds that have readings, over the same stretch of time.
func charts(r *compostlotv1.LotReport, c *compostlotv1.LotChart, zone *time.Location) []*chart {
	var out []*chart
	from, to := math.Inf(1), math.Inf(-1)
	for _, kind := range shown {
		ch := &chart{Title: kind.title, unit: kind.unit, zone: zone}
		for _, s := range c.GetSeries() {
			if s.GetKind() != kind.kind {
				continue
			}
			l := line{name: s.GetProbeId(), width: float64(c.GetBucketSeconds())}
			for i, second := range s.GetSeconds() {
				x := float64(second)
				from, to = math.Min(from, x), math.Max(to, x+l.width)
				l.x, l.mean = append(l.x, x+l.width/2), append(l.mean, float64(s.GetMean()[i])/milli)
				l.least, l.most = append(l.least, float64(s.GetLeast()[i])/milli), append(l.most, float64(s.GetMost()[i])/milli)
			}
			ch.series = append(ch.series, l)
		}
		if len(ch.series) == 0 {
			continue
		}
		for _, l := range c.GetLimits() {
			if l.GetKind() == kind.kind {
				ch.addLimits(l)
			}
		}
		for _, m := range r.GetMarks() {
			ch.marks = append(ch.marks, mark{float64(m.GetTime().AsTime().Unix()), markWords[m.GetMark()]})
		}
		ch.scale()
		out = append(out, ch)
	}
	for _, ch := range out {
		ch.from, ch.to = from, to
	}
	return out
}

func (c *chart) addLimits(l *compostlotv1.ChartLimit) {
	for _, end := range []struct {
		v    *int64
		word string
	}{{l.LowThousandths, "least"}, {l.HighThousandths, "most"}} {
		if end.v != nil {
			c.limits = append(c.limits, limit{float64(*end.v) / milli, fmt.Sprintf("%s, %s %g %s", l.GetCriterionId(), end.word, float64(*end.v)/milli, c.unit)})
		}
	}
	slices.SortStableFunc(c.limits, func(a, b limit) int { return int(math.Copysign(1, a.value-b.value)) })
}

// scale fits readings and limits.
func (c *chart) scale() {
	low, high := math.Inf(1), math.Inf(-1)
	for _, l := range c.series {
		low, high = math.Min(low, slices.Min(l.least)), math.Max(high, slices.Max(l.most))
	}
	for _, l := range c.limits {
		low, high = math.Min(low, l.value), math.Max(high, l.value)
	}
	step := niceStep(math.Max(high-low, 1) / 4)
	c.low, c.high = math.Floor(low/step)*step, math.Ceil(high/step)*step
	if c.high-high < step/4 { // room for what is written above the highest limit
		c.high += step
	}
}

// niceStep is the next of 1, 2 or 5 times a power of ten.
func niceStep(v float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if v <= m*power {
			return m * power
		}
	}
	return 10 * power
}

// canvas draws in units of its own, y downwards.
type canvas interface {
	line(x, y []float64, colour string, width float64, dashed bool)
	area(x, y []float64, colour string)
	// text writes at a baseline; anchor is "start", "middle" or "end".
	text(x, y float64, s, colour, anchor string)
	// blank covers a box, so that what is written on it can be read.
	blank(x, y, width, height float64)
	textHeight() float64
	textWidth(s string) float64
}

var colours = []string{"#1f4e79", "#b3541e", "#2f6b3c", "#6b3fa0", "#8a6d00", "#a3265a", "#3c6e71", "#444444"}

const (
	grey  = "#8a8a8a"
	light = "#dddddd"
	red   = "#b00020"
	ink   = "#222222"
)

// draw draws the chart into a box.
func (c *chart) draw(to canvas, left, top, width, height float64) {
	h := to.textHeight()
	x0, x1, y0, y1 := left+h*3.2, left+width-1, top+h*3.6, top+height-h*1.5
	px := func(v float64) float64 { return x0 + (v-c.from)/(c.to-c.from)*(x1-x0) }
	py := func(v float64) float64 { return y1 - (v-c.low)/(c.high-c.low)*(y1-y0) }
	to.text(left, top+h, c.Title+", "+c.unit, ink, "start")
	step := niceStep((c.high - c.low) / 5)
	for v := c.low; v <= c.high+step/1000; v += step {
		to.line([]float64{x0, x1}, []float64{py(v), py(v)}, light, .5, false)
		to.text(x0-h*.3, py(v)+h*.35, fmt.Sprintf("%g", math.Round(v*1000)/1000), grey, "end")
	}
	c.drawDays(to, px, y0, y1, h)
	c.drawMarks(to, px, y0, y1, h)
	labels := c.labels(py, h)
	for _, l := range c.limits {
		to.line([]float64{x0, x1}, []float64{py(l.value), py(l.value)}, red, .9, true)
	}
	// Readings are drawn over what is blanked, and the words over the readings.
	for _, l := range labels {
		to.blank(x1-to.textWidth(l.text)-h*.2, l.value-h*.85, to.textWidth(l.text)+h*.2, h*.95)
	}
	for i, l := range c.series {
		l.draw(to, px, py, colours[i%len(colours)], len(c.series) <= 4)
	}
	for _, l := range labels {
		to.text(x1, l.value, l.text, red, "end")
	}
	c.legend(to, left+to.textWidth(c.Title+", "+c.unit)+h*1.5, top+h, x1, h)
}

// labels are the words of the limits at their baselines; of those that would touch, the lower
// limit is named.
func (c *chart) labels(py func(float64) float64, h float64) []limit {
	var out []limit
	for _, l := range c.limits {
		y := py(l.value) - h*.2
		if n := len(out); n == 0 || out[n-1].value-y >= h*1.05 {
			out = append(out, limit{y, l.text})
		}
	}
	return out
}

// drawMarks draws the marks; names that would touch go into a second row.
func (c *chart) drawMarks(to canvas, px func(float64) float64, y0, y1, h float64) {
	free := [2]float64{math.Inf(-1), math.Inf(-1)} // where each row is free again, from below
	for _, m := range c.marks {
		if m.x < c.from || m.x > c.to {
			continue
		}
		x, width := px(m.x), to.textWidth(m.text)
		to.line([]float64{x, x}, []float64{y0, y1}, grey, .5, true)
		begin := math.Min(x, px(c.to)-width)
		for i := range free {
			if begin >= free[i] {
				to.text(begin, y0-h*(.25+1.05*float64(i)), m.text, grey, "start")
				free[i] = begin + width + h*.5
				break
			}
		}
	}
}

// drawDays writes days below the axis, as many as fit.
func (c *chart) drawDays(to canvas, px func(float64) float64, y0, y1, h float64) {
	start := time.Unix(int64(c.from), 0).In(c.zone)
	last := math.Inf(-1)
	for day := time.Date(start.Year(), start.Month(), start.Day()+1, 0, 0, 0, 0, c.zone); float64(day.Unix()) <= c.to; day = day.AddDate(0, 0, 1) {
		x, label := px(float64(day.Unix())), day.Format("2 Jan")
		if x-to.textWidth(label)/2 < last {
			continue
		}
		to.line([]float64{x, x}, []float64{y1, y1 + h*.3}, grey, .5, false)
		to.text(x, y1+h*1.3, label, grey, "middle")
		last = x + to.textWidth(label)/2 + h*.6
	}
}

// legend names the probes, as many as fit; the last says how many are left out.
func (c *chart) legend(to canvas, x, y, most, h float64) {
	for i, l := range c.series {
		rest := fmt.Sprintf("and %d more", len(c.series)-i)
		if x+h*1.6+to.textWidth(l.name)+to.textWidth(rest) > most && i < len(c.series)-1 {
			to.text(x, y, rest, grey, "start")
			return
		}
		to.line([]float64{x, x + h*1.2}, []float64{y - h*.3, y - h*.3}, colours[i%len(colours)], 1.4, false)
		to.text(x+h*1.5, y, l.name, ink, "start")
		x += h*2.4 + to.textWidth(l.name)
	}
}

// draw draws a probe; its line breaks where buckets have no readings.
func (l line) draw(to canvas, px, py func(float64) float64, colour string, band bool) {
	for i := 0; i < len(l.x); {
		n := i + 1
		for n < len(l.x) && l.x[n]-l.x[n-1] <= 1.5*l.width {
			n++
		}
		var x, mean, bx, by []float64
		for k := i; k < n; k++ {
			x, mean = append(x, px(l.x[k])), append(mean, py(l.mean[k]))
			bx, by = append(bx, px(l.x[k])), append(by, py(l.most[k]))
		}
		for k := n - 1; k >= i; k-- {
			bx, by = append(bx, px(l.x[k])), append(by, py(l.least[k]))
		}
		if n-i == 1 { // a single reading is a short stroke
			x, mean = []float64{x[0] - 1, x[0] + 1}, []float64{mean[0], mean[0]}
		} else if band {
			to.area(bx, by, colour)
		}
		to.line(x, mean, colour, 1.1, false)
		i = n
	}
}
