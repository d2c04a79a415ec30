package flow_test

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"breakshare.example/services/order/internal/match/flow"
	"breakshare.example/services/order/internal/match/flow/dimacs"
)

// BenchmarkSolve solves each reference instance from scratch, the copy into
// the solver included. Beside the mean it reports the median, which a busy
// machine disturbs less. FLOW_LARGE may name the file of the large co-op day,
// which scripts/bench generates.
func BenchmarkSolve(b *testing.B) {
	for _, o := range optima(b) {
		var p *flow.Problem
		switch path := os.Getenv("FLOW_LARGE"); {
		case o.Name != large:
			p = instance(b, o.Name)
		case path != "":
			p = file(b, path)
		default:
			continue
		}
		b.Run(o.Name, func(b *testing.B) {
			var s flow.Solver
			var times []time.Duration
			for b.Loop() {
				start := time.Now()
				r, err := s.Solve(b.Context(), p, flow.Options{})
				times = append(times, time.Since(start))
				if err != nil {
					b.Fatal(err)
				}
				if r.Cost != o.Objective {
					b.Fatalf("cost %d, want %d", r.Cost, o.Objective)
				}
			}
			slices.Sort(times)
			b.ReportMetric(float64(times[len(times)/2].Nanoseconds()), "median-ns/op")
		})
	}
}

func file(b *testing.B, path string) *flow.Problem {
	f, err := os.Open(filepath.Clean(path))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	p, err := dimacs.Read(f)
	if err != nil {
		b.Fatal(err)
	}
	return p
}

// BenchmarkMorning alternates between a day and the same day with a hundredth
// of the suppliers changed, each solved from the basis of the other.
func BenchmarkMorning(b *testing.B) {
	for _, name := range []string{"coop-day-small", "coop-day-medium"} {
		b.Run(name, func(b *testing.B) {
			days := [2]*flow.Problem{instance(b, name)}
			days[1] = morning(days[0])
			var s flow.Solver
			for turn := 0; b.Loop(); turn++ {
				if _, err := s.Resolve(b.Context(), days[turn%2], flow.Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkVerify checks the proof of the medium co-op day.
func BenchmarkVerify(b *testing.B) {
	p := instance(b, "coop-day-medium")
	r := solve(b, p)
	for b.Loop() {
		if err := flow.Verify(p, r); err != nil {
			b.Fatal(err)
		}
	}
}
