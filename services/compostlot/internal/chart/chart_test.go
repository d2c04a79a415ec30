package chart

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestThin(t *testing.T) {
	t.Parallel()
	days := []Day{{Midnight: 86400, Seconds: []int32{0, 30, 59, 60, 200}, Values: []int32{10, 20, 40, 5, -3}}, {Midnight: 2 * 86400, Seconds: []int32{1}, Values: []int32{7}}}
	got := Thin(days, 100, 86400+30, 3*86400, 60)
	want := Series{
		At: []int64{86400, 86460, 86580, 2 * 86400}, Least: []int64{120, 105, 97, 107}, Mean: []int64{130, 105, 97, 107}, Most: []int64{140, 105, 97, 107},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("thinned (-want +got):\n%s", diff)
	}
	if got := Thin(nil, 0, 0, 1, 1); len(got.At)+len(got.Mean) != 0 {
		t.Errorf("of nothing comes %v", got)
	}
}

func TestWidth(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		span   int64
		points int
		want   int64
	}{{14 * 86400, 400, 3600}, {3600, 400, 10}, {60, 100, 1}, {14 * 86400, 2000, 900}, {4000 * 86400, 10, 401 * 86400}} {
		if got := Width(c.span, c.points); got != c.want {
			t.Errorf("%d s in %d points: %d, want %d", c.span, c.points, got, c.want)
		}
	}
}

// No peak is lost, no bucket is empty, and means weighted by readings give the mean of all.
func TestNoPeakIsLost(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		width := rapid.Int64Range(1, 5000).Draw(t, "width")
		offset := rapid.Int64Range(-500, 500).Draw(t, "offset")
		var days []Day
		least, most, n := int64(math.MaxInt64), int64(math.MinInt64), 0
		for d := range rapid.IntRange(1, 3).Draw(t, "days") {
			day := Day{Midnight: int64(d) * 86400}
			second := int32(0)
			for range rapid.IntRange(1, 40).Draw(t, "readings") {
				second += rapid.Int32Range(1, 2000).Draw(t, "step")
				v := rapid.Int32Range(-60_000, 90_000).Draw(t, "value")
				day.Seconds, day.Values = append(day.Seconds, second), append(day.Values, v)
				least, most, n = min(least, int64(v)+offset), max(most, int64(v)+offset), n+1
			}
			days = append(days, day)
		}
		got := Thin(days, offset, 0, 4*86400, width)
		lo, hi := int64(math.MaxInt64), int64(math.MinInt64)
		for i := range got.At {
			if got.At[i]%width != 0 || (i > 0 && got.At[i] <= got.At[i-1]) {
				t.Fatalf("bucket %d begins at %d after %v", i, got.At[i], got.At[:i])
			}
			if got.Least[i] > got.Mean[i] || got.Mean[i] > got.Most[i] {
				t.Fatalf("bucket %d: %d, %d, %d", i, got.Least[i], got.Mean[i], got.Most[i])
			}
			lo, hi = min(lo, got.Least[i]), max(hi, got.Most[i])
		}
		if lo != least || hi != most || len(got.Mean) != len(got.At) || len(got.At) > n {
			t.Fatalf("from %d to %d, want %d to %d", lo, hi, least, most)
		}
	})
}
