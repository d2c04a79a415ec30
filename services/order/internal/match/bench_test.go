package match_test

import (
	"fmt"
	"math/rand/v2"
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

// A day is rebalanced after one lot in a hundred turned out a tenth larger or smaller, from the
// bases of the last rebalance. ratio is the solver's time against that of the same rebalance from
// nothing, and to-first against that of the day's first match.
func BenchmarkRebalance(b *testing.B) {
	d := largeDay(1000, 10000)
	first := run(b, d)
	d = withKept(d, first)
	var session match.Session
	if _, err := session.Run(b.Context(), d, nil); err != nil {
		b.Fatal(err)
	}
	r := rand.New(rand.NewPCG(3, 4))
	var warm, cold time.Duration
	for b.Loop() {
		for range len(d.Lots) / 100 {
			l := &d.Lots[r.IntN(len(d.Lots))]
			l.Packs += int64(r.IntN(2)*2-1) * (l.Packs/10 + 1)
		}
		m, err := session.Run(b.Context(), d, nil)
		if err != nil {
			b.Fatal(err)
		}
		warm += m.Proof.Solving
		cold += run(b, d).Proof.Solving
	}
	b.ReportMetric(float64(warm.Microseconds())/1000/float64(b.N), "warm-ms")
	b.ReportMetric(float64(warm)/float64(cold), "ratio")
	b.ReportMetric(float64(warm)/float64(b.N)/float64(first.Proof.Solving), "to-first")
}
