package blend

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
)

// tableau collects a linear programme over variables that are 0 or more, and
// brings it to the equalities that the solver wants.
type tableau struct {
	vars  int       // the caller's variables
	cost  []float64 // of the caller's variables, then of slacks
	rows  [][]float64
	right []float64
}

// atLeast demands row × x ≥ right.
func (t *tableau) atLeast(row []float64, right float64) {
	t.add(row, right, map[float64]float64{-1: 0})
}

// atMost demands row × x ≤ right.
func (t *tableau) atMost(row []float64, right float64) { t.add(row, right, map[float64]float64{1: 0}) }

// equal demands row × x = right.
func (t *tableau) equal(row []float64, right float64) { t.add(row, right, nil) }

// soft wishes row × x ≥ 0 and counts what is missing as cost.
func (t *tableau) soft(row []float64) { t.add(row, 0, map[float64]float64{-1: 0, 1: 1}) }

// add appends a row with slacks, given as coefficient → cost.
func (t *tableau) add(row []float64, right float64, slacks map[float64]float64) {
	full := make([]float64, len(t.cost), len(t.cost)+len(slacks))
	copy(full, row)
	for _, coefficient := range []float64{-1, 1} {
		if cost, ok := slacks[coefficient]; ok {
			full = append(full, coefficient)
			t.cost = append(t.cost, cost)
		}
	}
	t.rows, t.right = append(t.rows, full), append(t.right, right)
}

// minimise returns the caller's variables at least cost.
func (t *tableau) minimise() ([]float64, error) {
	a := mat.NewDense(len(t.rows), len(t.cost), nil)
	for i, row := range t.rows {
		for j, v := range row {
			a.Set(i, j, v)
		}
	}
	_, x, err := lp.Simplex(t.cost, a, t.right, 1e-10, nil)
	if err != nil {
		return nil, err
	}
	return x[:t.vars], nil
}
