package exposure

import (
	"fmt"
	"slices"
	"sort"
)

// Sample is what a meter showed at an instant.
type Sample struct {
	At    int64 // Unix seconds
	Milli int64 // thousandths of a ppm, 0 or more
}

// Mean is the time-weighted mean over a stretch of time.
type Mean struct {
	From    int64 // beginning of the stretch, Unix seconds
	Milli   int64 // mean of what was measured, thousandths, rounded up
	Seconds int64 // how much of the stretch was measured
}

// Stands is the longest time for which a reading stands where none follows, in seconds: the
// shortest-lived of the averages that limits are set for. What lies beyond is a gap.
const Stands = 15 * minute

// A stretch counts as measured where at least nine tenths of it are; common practice, no source.
const measuredParts, ofParts = 9, 10

// Running finds the highest mean over any stretch of width seconds, wherever it begins: limits
// over a time are passed by the worst 15 minutes or 8 hours of a day, which need not begin on
// a quarter of an hour (29 CFR 1910.1000(a)(2) and (d)(1)). A reading stands until the next, at
// most for Stands. Full is the highest among stretches that were measured, part the highest
// among those with gaps, each nil where there is none; gaps do not thin a mean out. Where the
// samples span less than width, the whole of them is one stretch with a gap. The samples are in
// order of time. It returns an *InvalidError for a width below 1 and for samples out of order
// or that cannot be.
func Running(samples []Sample, width int64) (full, part *Mean, err error) {
	if err := checkSamples(samples, width); err != nil || len(samples) == 0 {
		return nil, nil, err
	}
	c := newCurve(samples)
	for _, from := range c.starts(width) {
		m := c.mean(from, from+width)
		into := &part
		if enough(m, width) {
			m.Seconds = width
			into = &full
		}
		if m.Seconds > 0 && (*into == nil || m.Milli > (*into).Milli) {
			*into = &m
		}
	}
	return full, part, nil
}

func checkSamples(samples []Sample, width int64) error {
	if width < 1 {
		return &InvalidError{"width", fmt.Sprintf("%d s is no stretch of time: give 1 or more", width)}
	}
	for i, s := range samples {
		if s.Milli < 0 || s.Milli > 1_000_000_000 {
			return &InvalidError{fmt.Sprintf("sample %d", i+1), fmt.Sprintf("%d thousandths cannot be: check the meter", s.Milli)}
		}
		if i > 0 && s.At <= samples[i-1].At {
			return &InvalidError{fmt.Sprintf("sample %d", i+1), "does not come after the one before: put them in order of time"}
		}
	}
	return nil
}

// curve is concentration over time as steps: between edges it holds one value or is not known.
type curve struct {
	edges    []int64 // Unix seconds, ascending
	dose     []int64 // thousandths × seconds up to each edge
	measured []int64 // seconds up to each edge
}

func newCurve(samples []Sample) curve {
	var c curve
	var dose, measured int64
	add := func(at int64) {
		c.edges, c.dose, c.measured = append(c.edges, at), append(c.dose, dose), append(c.measured, measured)
	}
	for i, s := range samples {
		if len(c.edges) == 0 || c.edges[len(c.edges)-1] < s.At {
			add(s.At)
		}
		end := s.At + Stands
		if i+1 < len(samples) {
			end = min(end, samples[i+1].At)
		}
		dose += s.Milli * (end - s.At)
		measured += end - s.At
		add(end)
	}
	return c
}

// enough reports whether a stretch counts as measured.
func enough(m Mean, width int64) bool { return m.Seconds*ofParts >= width*measuredParts }

// starts are the beginnings of stretches between which no mean can be higher than at both of
// them: those that put one end of the stretch on an edge, and those where a stretch begins or
// ceases to be measured enough. They lie so that the stretch is within the curve.
func (c curve) starts(width int64) []int64 {
	first, last := c.edges[0], c.edges[len(c.edges)-1]
	latest := max(first, last-width)
	out := make([]int64, 0, 2*len(c.edges)+2)
	out = append(out, first, latest)
	for _, e := range c.edges {
		for _, from := range []int64{e, e - width} {
			if from >= first && from <= latest {
				out = append(out, from)
			}
		}
	}
	slices.Sort(out)
	out = slices.Compact(out)
	for i := range len(out) - 1 {
		a, b := out[i], out[i+1]
		side := enough(c.mean(a, a+width), width)
		if enough(c.mean(b, b+width), width) == side {
			continue
		}
		n := int64(sort.Search(int(b-a), func(n int) bool { return enough(c.mean(a+int64(n), a+int64(n)+width), width) != side }))
		out = append(out, a+n-1, a+n)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// mean is that of a stretch.
func (c curve) mean(from, to int64) Mean {
	doseTo, measuredTo := c.upTo(to)
	doseFrom, measuredFrom := c.upTo(from)
	m := Mean{From: from, Seconds: measuredTo - measuredFrom}
	if m.Seconds > 0 {
		m.Milli = (doseTo - doseFrom + m.Seconds - 1) / m.Seconds
	}
	return m
}

// upTo is the dose and the measured time up to an instant.
func (c curve) upTo(at int64) (dose, measured int64) {
	i := sort.Search(len(c.edges), func(i int) bool { return c.edges[i] > at })
	switch {
	case i == 0:
		return 0, 0
	case i == len(c.edges):
		return c.dose[i-1], c.measured[i-1]
	}
	// Between two edges either all is measured, at one value, or nothing is.
	span, into := c.edges[i]-c.edges[i-1], at-c.edges[i-1]
	return c.dose[i-1] + (c.dose[i]-c.dose[i-1])/span*into, c.measured[i-1] + (c.measured[i]-c.measured[i-1])/span*into
}

// Times are the averaging times of the limits of a gas, shortest first, in seconds.
func Times(gas Gas, limits []Limit) []int64 {
	var out []int64
	for _, l := range limits {
		if l.Gas == gas && l.Seconds > 0 {
			out = append(out, l.Seconds)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}
