package fillplan

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// TestStateFollowsTheFormula changes a plan at random and compares the running
// total with a full evaluation, and feasibility with the format's rules.
func TestStateFollowsTheFormula(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		in := smallInstance(rt)
		if len(in.Rooms) == 0 {
			return
		}
		s := newState(newProblem(in, nil))
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		for range rapid.IntRange(1, 40).Draw(rt, "moves") {
			a, b := rng.IntN(len(in.Rooms)), rng.IntN(len(in.Rooms))
			if a != b {
				s.trySwap(a, b, 1e6, rng)
			}
			s.lift(a)
			s.price(a)
			s.place(a, s.draw(a, math.Exp(rng.Float64()*20), rng, nil))
			fills := s.p.fillsOf(s.rooms)
			if err := Check(in, Plan{Instance: in.Name, Fills: fills}); err != nil {
				rt.Fatal(err)
			}
			if m := Evaluate(in, fills).M(); m != s.total {
				rt.Fatalf("total %d, the plan costs %d", s.total, m)
			}
		}
	})
}

// TestBestTimelineIsTheBestOfAll plans one room beside random others and
// compares with every timeline it could follow.
func TestBestTimelineIsTheBestOfAll(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		in := smallInstance(rt)
		if len(in.Rooms) == 0 {
			return
		}
		s := newState(newProblem(in, nil))
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		for r := range in.Rooms {
			s.lift(r)
			s.price(r)
			s.place(r, s.draw(r, 1e9, rng, nil))
		}
		s.lift(0)
		others := s.p.fillsOf(s.rooms)
		least := int64(math.MaxInt64)
		for _, timeline := range timelines(in, 0) {
			fills := append(timeline, others...)
			if Check(in, Plan{Instance: in.Name, Fills: fills}) == nil {
				least = min(least, Evaluate(in, fills).M())
			}
		}
		s.price(0)
		s.place(0, s.best(0, nil))
		if s.total != least {
			rt.Fatalf("best timeline costs %d, the least is %d", s.total, least)
		}
	})
}

// TestDrawFollowsTheBoltzmannDistribution compares the frequencies of a room's
// timelines with the weights they should have.
func TestDrawFollowsTheBoltzmannDistribution(t *testing.T) {
	t.Parallel()
	in := decodeSample(t)
	s := newState(newProblem(in, nil))
	rng := rand.New(rand.NewPCG(1, 2))
	const draws, temperature = 20_000, 1e8
	counts := map[int64]float64{}
	for range draws {
		s.lift(0)
		s.price(0)
		s.place(0, s.draw(0, temperature, rng, nil))
		counts[s.total]++
	}
	weights, sum := map[int64]float64{}, 0.0
	for _, fills := range timelines(in, 0) {
		if Check(in, Plan{Instance: in.Name, Fills: fills}) == nil {
			m := Evaluate(in, fills).M()
			w := math.Exp(-float64(m) / temperature)
			weights[m] += w
			sum += w
		}
	}
	for m, w := range weights {
		want := w / sum
		if got := counts[m] / draws; math.Abs(got-want) > 4*math.Sqrt(want/draws) {
			t.Errorf("cost %d drawn in %.4f of cases, want %.4f", m, got, want)
		}
	}
	if len(weights) < 2 {
		t.Fatal("the sample room has only one timeline")
	}
}

func BenchmarkReplanRoom(b *testing.B) {
	for _, name := range []string{"small-s1", "medium-s1", "large-s1"} {
		b.Run(name, func(b *testing.B) {
			a := newSearch(newProblem(reference(b, name), nil), 1)
			b.ReportAllocs()
			for b.Loop() {
				a.sweep(math.MaxInt64)
			}
			b.ReportMetric(float64(a.steps)/b.Elapsed().Seconds(), "rooms/s")
		})
	}
}

func BenchmarkRelaxation(b *testing.B) {
	for _, name := range []string{"small-s1", "medium-s1", "large-s1"} {
		b.Run(name, func(b *testing.B) {
			p := newProblem(reference(b, name), nil)
			x := newCutRelaxation(p, func(int) {})
			n := &node{banned: newMask(p)}
			n.prices.copyFrom(&prices{}, x.rows(), 0)
			for b.Loop() {
				x.solve(n, &n.prices)
			}
		})
	}
}
