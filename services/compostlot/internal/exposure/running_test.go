package exposure

import (
	"errors"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// byMinute is a day of readings by the minute from an hour of the day on.
func byMinute(from int64, milli ...int64) []Sample {
	out := make([]Sample, len(milli))
	for i, v := range milli {
		out[i] = Sample{At: from + int64(i)*minute, Milli: v}
	}
	return out
}

// A quarter of an hour that straddles two quarters by the clock: each of those averages 20 ppm
// and stays under the short-term limit of 35 ppm, the 15 minutes between average 40.
func TestWorstQuarterHourNeedNotBeginOnTheClock(t *testing.T) {
	t.Parallel()
	var day []int64
	for i := range 60 {
		v := int64(0)
		if i >= 22 && i < 37 { // 22 to 37 minutes past
			v = 40_000
		}
		day = append(day, v)
	}
	full, _, err := Running(byMinute(7200, day...), 15*minute)
	if err != nil {
		t.Fatal(err)
	}
	if full == nil || *full != (Mean{From: 7200 + 22*minute, Milli: 40_000, Seconds: 15 * minute}) {
		t.Errorf("worst is %+v", full)
	}
}

// The example of 29 CFR 1910.1000(d)(1)(i), two hours at 150 ppm, two at 75 and four at 50, is
// 81.25 ppm (from memory), also where nobody was exposed before and after.
func TestWorkingDayWhereverItBegins(t *testing.T) {
	t.Parallel()
	day := slices.Repeat([]int64{0}, 60)
	for _, spell := range []struct{ hours, milli int64 }{{2, 150_000}, {2, 75_000}, {4, 50_000}, {3, 0}} {
		day = append(day, slices.Repeat([]int64{spell.milli}, int(spell.hours)*60)...)
	}
	full, part, err := Running(byMinute(0, day...), 8*hour)
	if err != nil || full == nil || full.Milli != 81_250 || full.From != hour || part != nil {
		t.Errorf("%+v, %+v, %v", full, part, err)
	}
}

func TestGapsAreNoProof(t *testing.T) {
	t.Parallel()
	short := byMinute(0, slices.Repeat([]int64{60_000}, 30)...)
	full, part, err := Running(short, 8*hour)
	if err != nil || full != nil || part == nil || *part != (Mean{0, 60_000, 29*minute + Stands}) {
		t.Errorf("half an hour: %+v, %+v, %v", full, part, err)
	}
	// Two readings an hour apart: each stands for a quarter of an hour.
	far := []Sample{{0, 10_000}, {hour, 20_000}}
	full, part, err = Running(far, hour)
	if err != nil || full != nil || part == nil || part.Milli != 20_000 || part.Seconds != 15*minute {
		t.Errorf("an hour apart: %+v, %+v, %v", full, part, err)
	}
	if full, part, err := Running(nil, hour); full != nil || part != nil || err != nil {
		t.Errorf("nothing: %+v, %+v, %v", full, part, err)
	}
	for name, bad := range map[string][]Sample{"order": {{5, 1}, {5, 1}}, "value": {{5, -1}}, "too much": {{5, 2_000_000_000}}} {
		var no *InvalidError
		if _, _, err := Running(bad, hour); !errors.As(err, &no) {
			t.Errorf("%s: %v", name, err)
		}
	}
	var no *InvalidError
	if _, _, err := Running(far, 0); !errors.As(err, &no) {
		t.Errorf("no width: %v", err)
	}
}

// Against the definition: no stretch that begins at any second has a higher mean.
func TestRunningAgainstEverySecond(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var samples []Sample
		at := int64(0)
		for range rapid.IntRange(1, 6).Draw(t, "samples") {
			samples = append(samples, Sample{at, rapid.Int64Range(0, 50).Draw(t, "value")})
			at += rapid.Int64Range(1, Stands+30).Draw(t, "step")
		}
		width := rapid.Int64Range(1, 2*Stands).Draw(t, "width")
		full, part, err := Running(samples, width)
		if err != nil {
			t.Fatal(err)
		}
		end := samples[len(samples)-1].At + Stands
		value := make([]int64, end) // -1 where nothing was measured
		for i := range value {
			value[i] = -1
		}
		for i, s := range samples {
			until := s.At + Stands
			if i+1 < len(samples) {
				until = min(until, samples[i+1].At)
			}
			for sec := s.At; sec < until; sec++ {
				value[sec] = s.Milli
			}
		}
		wantFull, wantPart := int64(-1), int64(-1)
		for from := int64(0); from <= max(0, end-width); from++ {
			sum, n := int64(0), int64(0)
			for sec := from; sec < min(end, from+width); sec++ {
				if value[sec] >= 0 {
					sum, n = sum+value[sec], n+1
				}
			}
			switch {
			case n == 0:
			case n*ofParts >= width*measuredParts:
				wantFull = max(wantFull, (sum+n-1)/n)
			default:
				wantPart = max(wantPart, (sum+n-1)/n)
			}
		}
		check := func(name string, got *Mean, want int64) {
			if (got == nil) != (want < 0) || got != nil && got.Milli != want {
				t.Fatalf("%s: %+v, want %d of %v over %d s", name, got, want, samples, width)
			}
		}
		check("full", full, wantFull)
		check("part", part, wantPart)
	})
}
