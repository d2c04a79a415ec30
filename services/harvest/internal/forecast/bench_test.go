package forecast_test

import (
	"runtime"
	"sync"
	"testing"

	"breakshare.example/services/harvest/internal/forecast"
)

// benchmarkCrops are crops of 200 m² in all states, from before the first pick
// to the third break.
func benchmarkCrops(n int) []forecast.Crop {
	crops := make([]forecast.Crop, n)
	for i := range crops {
		c := cropOf(uint64(i), 2000)
		for day := 34; day < 34+i%24; day++ {
			if d := (day - 34) % 8; d < 4 {
				c.Picks = append(c.Picks, forecast.Pick{Day: day, Grams: []int64{300_000, 700_000, 500_000, 200_000}[d]})
			} else {
				c.Picks = append(c.Picks, forecast.Pick{Day: day})
			}
		}
		crops[i] = c
	}
	return crops
}

// BenchmarkTenThousandCrops is the size a large co-op's nightly run has:
// 10,000 crops over 28 days, on every processor.
func BenchmarkTenThousandCrops(b *testing.B) {
	m := mustModel(b, forecast.WhiteShelf)
	crops := benchmarkCrops(10_000)
	for b.Loop() {
		var wg sync.WaitGroup
		workers := runtime.GOMAXPROCS(0)
		for w := range workers {
			wg.Go(func() {
				for i := w; i < len(crops); i += workers {
					if _, err := m.Forecast(crops[i], 34+i%24, 28); err != nil {
						b.Error(err)
					}
				}
			})
		}
		wg.Wait()
	}
}
