package match_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"breakshare.example/services/order/internal/match"
)

// largeDay is a day of forty products, a little more ordered than there is of most of them.
func largeDay(lots, lines int) match.Day {
	r := rand.New(rand.NewPCG(1, 2))
	d := match.Day{Number: today}
	const products, farms = 40, 60
	for i := range products {
		d.Products = append(d.Products, match.Product{ID: fmt.Sprintf("product-%02d", i), Grams: 1000, ShelfLife: 3})
	}
	for i := range lots {
		farm := fmt.Sprintf("farm-%02d", i%farms)
		d.Lots = append(d.Lots, match.Lot{
			ID: fmt.Sprintf("lot-%05d", i), Farm: farm, Room: fmt.Sprintf("%s-%d", farm, i/farms), Product: d.Products[r.IntN(products)].ID,
			PickDay: today - r.IntN(3), Packs: int64(3*lines/lots + r.IntN(2*lines/lots+1)), Carry: match.Carry{Known: true, Milli: int64(i % farms * 100)},
		})
	}
	for i := range lines {
		d.Lines = append(d.Lines, match.Line{
			Order: fmt.Sprintf("order-%05d", i/10), Customer: fmt.Sprintf("kitchen-%05d", i/10), Product: fmt.Sprintf("product-%02d", (i/10+i%10*4)%products),
			Class: i/10%3 + 1, Packs: int64(1 + r.IntN(8)), Value: int64(300 + (i/10+i%10*4)%products*10),
		})
	}
	return d
}

// withKept takes over a match as the one before.
func withKept(d match.Day, m match.Match) match.Day {
	d.Kept = nil
	for _, a := range m.Allocations {
		d.Kept = append(d.Kept, match.Sent{Order: a.Order, Product: a.Product, Lot: a.Lot, Packs: a.Packs})
	}
	return d
}

func BenchmarkRun(b *testing.B) {
	for _, size := range []struct{ lots, lines int }{{100, 1000}, {1000, 10000}} {
		b.Run(fmt.Sprintf("%dx%d", size.lots, size.lines), func(b *testing.B) {
			d := largeDay(size.lots, size.lines)
			var m match.Match
			for b.Loop() {
				m = run(b, d)
			}
			b.ReportMetric(float64(m.Proof.Solving.Microseconds())/1000, "solve-ms")
			b.ReportMetric(float64(m.Proof.Phases), "solves")
		})
	}
}

// A day is rebalanced to and fro, as one lot in a hundred turns out a tenth larger or smaller, each
// time from where the last rebalance ended. The times are the least, which a busy machine disturbs
// least, of all that it takes to find the best flow and to prove it. day-ms is for the day from nothing, cold-ms for the same rebalance
// from nothing; ratio and to-cold are warm-ms over the two.
func BenchmarkRebalance(b *testing.B) {
	for _, size := range []struct{ lots, lines int }{{1000, 10000}, {5000, 100000}} {
		b.Run(fmt.Sprintf("%dx%d", size.lots, size.lines), func(b *testing.B) {
			evening := largeDay(size.lots, size.lines)
			evening = withKept(evening, run(b, evening))
			morning := evening
			morning.Lots = slices.Clone(evening.Lots)
			r := rand.New(rand.NewPCG(3, 4))
			for range len(morning.Lots) / 100 {
				l := &morning.Lots[r.IntN(len(morning.Lots))]
				l.Packs += int64(r.IntN(2)*2-1) * (l.Packs/10 + 1)
			}
			bare := morning
			bare.Kept = nil
			var session match.Session
			if _, err := session.Run(b.Context(), evening, nil); err != nil {
				b.Fatal(err)
			}
			var warm, cold, day []time.Duration
			for turn := 0; b.Loop(); turn++ {
				m, err := session.Run(b.Context(), [2]match.Day{morning, evening}[turn%2], nil)
				if err != nil {
					b.Fatal(err)
				}
				warm = append(warm, m.Proof.Solving)
				b.StopTimer()
				if turn%4 == 0 {
					cold = append(cold, run(b, morning).Proof.Solving)
					day = append(day, run(b, bare).Proof.Solving)
				}
				b.StartTimer()
			}
			b.ReportMetric(fastest(warm)/1e6, "warm-ms")
			b.ReportMetric(fastest(cold)/1e6, "cold-ms")
			b.ReportMetric(fastest(day)/1e6, "day-ms")
			b.ReportMetric(fastest(warm)/fastest(day), "ratio")
			b.ReportMetric(fastest(warm)/fastest(cold), "to-cold")
		})
	}
}

// fastest in nanoseconds.
func fastest(times []time.Duration) float64 { return float64(slices.Min(times)) }
