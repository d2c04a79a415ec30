package shareout

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
	"pgregory.net/rapid"
)

// program is a linear programme in rows: sum of row × x, plus a slack of the
// given sign, equals the right-hand side; x is 0 or more.
type program struct {
	vars  int
	rows  [][]float64
	slack []float64
	right []float64
}

func (p *program) row(slack, right float64, set func(row []float64)) {
	r := make([]float64, p.vars)
	set(r)
	p.rows, p.slack, p.right = append(p.rows, r), append(p.slack, slack), append(p.right, right)
}

// most maximises the objective with gonum's simplex method.
func (p *program) most(t *rapid.T, objective []float64) float64 {
	n := p.vars + len(p.rows)
	a := mat.NewDense(len(p.rows), n, nil)
	c := make([]float64, n)
	for j, v := range objective {
		c[j] = -v
	}
	for i, r := range p.rows {
		for j, v := range r {
			a.Set(i, j, v)
		}
		a.Set(i, p.vars+i, p.slack[i])
	}
	best, _, err := lp.Simplex(c, a, p.right, 1e-10, nil)
	if err != nil {
		t.Fatalf("linear programme: %v", err)
	}
	return -best
}

// levelsByLP finds the max-min levels by a sequence of linear programmes:
// raise all open farms together as far as it goes, hold those that cannot go
// further, repeat (the textbook way, and one that shares no code with ours).
func levelsByLP(t *rapid.T, tab *table) []float64 {
	arcs := len(tab.arcs)
	held := map[int]float64{}
	for len(held) < len(tab.farms) {
		build := func(rise bool, at float64) *program {
			p := &program{vars: arcs}
			if rise {
				p.vars++
			}
			for r, req := range tab.requests {
				p.row(1, float64(req.AskedKg), func(row []float64) {
					for a := tab.first[r]; a < tab.first[r+1]; a++ {
						row[a] = 1
					}
				})
			}
			for s, slot := range tab.slots {
				p.row(1, float64(slot.CapacityKg), func(row []float64) {
					for a, x := range tab.arcs {
						if x.slot == s {
							row[a] = 1
						}
					}
				})
			}
			for f, fm := range tab.farms {
				level, isHeld := held[f]
				right := level * float64(fm.unit)
				if !isHeld {
					right = at * float64(fm.unit)
				}
				// A hair of slack keeps rounding from making it infeasible.
				p.row(-1, math.Max(0, right-1e-7), func(row []float64) {
					for a, x := range tab.arcs {
						if tab.farmOf[x.request] == f {
							row[a] = 1
						}
					}
					if rise && !isHeld {
						row[arcs] = -float64(fm.unit)
					}
				})
			}
			return p
		}
		up := make([]float64, arcs+1)
		up[arcs] = 1
		level := build(true, 0).most(t, up)
		for f, fm := range tab.farms {
			if _, isHeld := held[f]; isHeld {
				continue
			}
			mine := make([]float64, arcs)
			for a, x := range tab.arcs {
				if tab.farmOf[x.request] == f {
					mine[a] = 1
				}
			}
			if arcs == 0 || build(false, level).most(t, mine) <= level*float64(fm.unit)+1e-4 {
				held[f] = level
			}
		}
	}
	var out []float64
	for _, l := range held {
		out = append(out, l)
	}
	slices.Sort(out)
	return out
}

func TestLevelsAgreeWithLinearProgramming(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		tab, err := newTable(drawRound(t, false))
		if err != nil {
			t.Fatal(err)
		}
		p, _ := tab.search()
		want := levelsByLP(t, tab)
		for i, l := range p.levels {
			if math.Abs(l.Float()-want[i]) > 1e-4 {
				t.Fatalf("level %d is %v, the linear programmes find %v", i, p.levels, want)
			}
		}
	})
}

// Whole fills on small rounds: every combination of served requests is tried.
func TestWholeFillsAreExactOnSmallRounds(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawRound(t, true)
		for i := range in.Slots {
			in.Slots[i].SmallestLotKg = 0
		}
		tab, err := newTable(in)
		if err != nil {
			t.Fatal(err)
		}
		got, bound := tab.search()
		if !bound.Exact {
			t.Fatalf("a round of %d requests must be searched to the end", len(in.Requests))
		}
		var best *plan
		for served := range 1 << len(tab.requests) {
			p := tab.start()
			for r := range tab.requests {
				switch {
				case tab.least[r] == 0: // any amount: nothing to choose
				case served>>r&1 == 1:
					p.requests[r] = open
				default:
					p.requests[r] = closed
				}
			}
			if plan, ok := tab.solve(p); ok && (best == nil || compareLevels(plan.levels, best.levels) > 0) {
				best = plan
			}
		}
		// It can be better by less than a kilogram: an exact share a hair below
		// a smallest amount reaches it when rounded up.
		if compareLevels(got.levels, best.levels) < 0 {
			t.Fatalf("levels %v, the best of all choices has %v", got.levels, best.levels)
		}
	})
}
