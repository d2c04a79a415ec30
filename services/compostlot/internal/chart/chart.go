// Package chart owns how the readings of a probe are thinned out for drawing: each
// bucket of time becomes its least, mean and greatest value, so that no peak is
// lost however few points a chart has.
//
// Values are whole thousandths of the unit measured, instants Unix seconds.
package chart

// Day is the readings of one UTC day in columns by ascending second.
type Day struct {
	Midnight int64   // Unix seconds
	Seconds  []int32 // since midnight
	Values   []int32
}

// Series is a probe's buckets that have readings, in columns by ascending time.
type Series struct {
	At                []int64 // beginning of the bucket
	Least, Mean, Most []int64 // Mean is rounded half up
}

// Width is the width of buckets for a span of seconds: the least of a fixed list of widths
// that needs no more buckets than points, so that charts of like spans have like buckets.
func Width(span int64, points int) int64 {
	const minute, hour, day = 60, 3600, 86400
	for _, w := range []int64{1, 10, minute, 2 * minute, 5 * minute, 10 * minute, 15 * minute, 30 * minute,
		hour, 2 * hour, 3 * hour, 6 * hour, 12 * hour, day, 2 * day, 7 * day} {
		if span/w < int64(points) {
			return w
		}
	}
	return (span/int64(points)/day + 1) * day
}

// Thin puts days, in ascending order, into buckets of a width that begin at its multiples. Of
// the readings those from one instant to another count, both included. Offset is added to
// every value: a calibration.
func Thin(days []Day, offset, from, to, width int64) Series {
	var out Series
	var sum, n int64
	next := int64(0) // end of the open bucket
	last := -1
	finish := func() {
		if n > 0 {
			out.Mean = append(out.Mean, roundedMean(sum, n)+offset)
		}
		sum, n = 0, 0
	}
	for _, d := range days {
		for i, second := range d.Seconds {
			at := d.Midnight + int64(second)
			if at < from || at > to {
				continue
			}
			v := int64(d.Values[i])
			if n == 0 || at >= next {
				finish()
				begin := at - ((at%width)+width)%width
				next = begin + width
				out.At, out.Least, out.Most = append(out.At, begin), append(out.Least, v+offset), append(out.Most, v+offset)
				last = len(out.At) - 1
			}
			sum, n = sum+v, n+1
			out.Least[last], out.Most[last] = min(out.Least[last], v+offset), max(out.Most[last], v+offset)
		}
	}
	finish()
	return out
}

// roundedMean is sum over n, rounded half up.
func roundedMean(sum, n int64) int64 {
	twice := 2*sum + n
	q := twice / (2 * n)
	if twice < 0 && twice%(2*n) != 0 {
		q--
	}
	return q
}
