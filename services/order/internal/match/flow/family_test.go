package flow_test

import (
	"math/rand/v2"
	"testing"

	"breakshare.example/services/order/internal/match/flow"
	"breakshare.example/services/order/internal/match/flow/internal/ssp"
)

// family makes networks of one kind, large enough for several blocks of arcs.
// Each arc it adds may carry some flow of its own, so that all are feasible.
type family struct {
	name string
	make func(b *builder)
}

type builder struct {
	*rand.Rand
	flow.Problem
	dear int64 // factor of all costs
}

func (b *builder) between(low, high int64) int64 { return low + b.Int64N(high-low+1) }

// arc adds an arc that can carry x, and has the ends want it.
func (b *builder) arc(u, v int, x, spare, cost int64) {
	b.From, b.To = append(b.From, int32(u)), append(b.To, int32(v))
	b.Cap, b.Cost = append(b.Cap, x+spare), append(b.Cost, cost*b.dear)
	b.Supply[u] += x
	b.Supply[v] -= x
}

var families = []family{
	{"few senders, many receivers", func(b *builder) {
		b.Supply = make([]int64, 8+60)
		for v := 8; v < len(b.Supply); v++ {
			for k := range 7 {
				x := b.between(0, 3)
				if k > 0 {
					x = 0
				}
				b.arc(b.IntN(8), v, x, b.between(0, 4), b.between(1, 50)+int64(7*b.IntN(2)))
			}
		}
	}},
	{"all senders alike to receivers", func(b *builder) { // contested
		b.Supply = make([]int64, 12+50)
		for v := 12; v < len(b.Supply); v++ {
			for u := range 12 {
				b.arc(u, v, b.between(0, 1)*int64(u%2), 9, int64(10*u)+b.between(0, 5))
			}
		}
	}},
	{"assignment", func(b *builder) {
		b.Supply = make([]int64, 2*40)
		for i, j := range b.Perm(40) {
			b.arc(i, 40+j, 1, 0, b.between(1, 20))
			for range 5 {
				b.arc(i, 40+b.IntN(40), 0, 1, b.between(1, 20))
			}
		}
	}},
	{"grid", func(b *builder) {
		const w, h = 10, 9
		b.Supply = make([]int64, w*h)
		for u := range b.Supply {
			if u%w < w-1 {
				b.arc(u, u+1, b.between(0, 2), b.between(0, 6), b.between(1, 30))
				b.arc(u+1, u, b.between(0, 2), b.between(0, 6), b.between(1, 30))
			}
			if u < w*(h-1) {
				b.arc(u, u+w, b.between(0, 2), b.between(0, 6), b.between(-9, 30))
			}
		}
	}},
	{"chain of parallel arcs", func(b *builder) {
		b.Supply = make([]int64, 25)
		for u := range len(b.Supply) - 1 {
			for range 8 {
				b.arc(u, u+1, b.between(0, 1), b.between(0, 5), b.between(-5, 40))
			}
			b.arc(u+1, u, 0, 3, 1)
		}
	}},
	{"any, some paid for", func(b *builder) {
		b.Supply = make([]int64, 50)
		for range 300 {
			b.arc(b.IntN(50), b.IntN(50), max(0, b.between(-4, 3)), b.between(0, 5), b.between(-10, 40))
		}
	}},
}

// TestFamilies holds each kind of network, with costs that fit in 32 bits and
// with costs that do not, against the second solver.
func TestFamilies(t *testing.T) {
	t.Parallel()
	for _, f := range families {
		t.Run(f.name, func(t *testing.T) {
			t.Parallel()
			var s flow.Solver
			for seed := range uint64(10) {
				b := &builder{Rand: rand.New(rand.NewPCG(seed, 1)), dear: 1}
				if seed%2 == 1 {
					b.dear = 1 << 33
				}
				f.make(b)
				if seed%3 == 2 {
					b.From, b.To = b.To, b.From // the other way round
					for u := range b.Supply {
						b.Supply[u] = -b.Supply[u]
					}
				}
				p := &b.Problem
				want, feasible := ssp.Solve(ssp.Problem{Supply: p.Supply, From: p.From, To: p.To, Low: make([]int64, p.Arcs()), Cap: p.Cap, Cost: p.Cost})
				r, err := s.Solve(t.Context(), p, flow.Options{})
				if err != nil || !feasible {
					t.Fatalf("seed %d: %v; the second solver finds a flow: %t", seed, err, feasible)
				}
				if r.Cost != want {
					t.Errorf("seed %d: cost %d, the second solver finds %d", seed, r.Cost, want)
				}
				if err := flow.Verify(p, r); err != nil {
					t.Errorf("seed %d: %v", seed, err)
				}
			}
		})
	}
}
