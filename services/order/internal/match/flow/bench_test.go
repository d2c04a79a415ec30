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
			reportMedian(b, times)
		})
	}
}

func reportMedian(b *testing.B, times []time.Duration) {
	slices.Sort(times)
	b.ReportMetric(float64(times[len(times)/2].Nanoseconds()), "median-ns/op")
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

// BenchmarkMorning goes to and fro between a day and the same day with a
// hundredth of the suppliers changed, from the basis of the one to the other:
// by Change, by Resolve, and for comparison from scratch.
func BenchmarkMorning(b *testing.B) {
	for _, name := range []string{"coop-day-small", "coop-day-medium"} {
		days := [2]*flow.Problem{instance(b, name)}
		days[1] = morning(days[0])
		turns := [2]flow.Change{shifted(days[1], days[0]), shifted(days[0], days[1])}
		ways := map[string]func(s *flow.Solver, turn int) error{
			"change": func(s *flow.Solver, turn int) error {
				_, err := s.Change(b.Context(), turns[turn%2], flow.Options{})
				return err
			},
			"resolve": func(s *flow.Solver, turn int) error {
				_, err := s.Resolve(b.Context(), days[turn%2], flow.Options{})
				return err
			},
			"scratch": func(s *flow.Solver, turn int) error {
				_, err := s.Solve(b.Context(), days[turn%2], flow.Options{})
				return err
			},
		}
		for _, way := range []string{"change", "resolve", "scratch"} {
			b.Run(name+"/"+way, func(b *testing.B) {
				var s flow.Solver
				mine := *days[0]
				mine.Supply = slices.Clone(mine.Supply)
				if _, err := s.Solve(b.Context(), &mine, flow.Options{}); err != nil {
					b.Fatal(err)
				}
				var times []time.Duration
				for turn := 1; b.Loop(); turn++ {
					start := time.Now()
					err := ways[way](&s, turn)
					times = append(times, time.Since(start))
					if err != nil {
						b.Fatal(err)
					}
				}
				reportMedian(b, times)
			})
		}
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
