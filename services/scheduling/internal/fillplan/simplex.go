package fillplan

import (
	"cmp"
	"math"
	"slices"
)

// refactor inverts the basis afresh; false when it is singular.
func (s *master) refactor() bool {
	m := s.m
	s.value = make([]float64, m)
	s.dual = make([]float64, m)
	s.alpha = make([]float64, m)
	a := make([]float64, m*m)
	inv := make([]float64, m*m)
	s.basic = make([]bool, len(s.columns))
	// Slacks first: they cost nothing to eliminate.
	slices.SortStableFunc(s.basis, func(i, j int) int { return cmp.Compare(len(s.columns[i].rows), len(s.columns[j].rows)) })
	for k, j := range s.basis {
		s.basic[j] = true
		for i, row := range s.columns[j].rows {
			a[int(row)*m+k] = s.columns[j].coefs[i]
		}
	}
	for i := range m {
		inv[i*m+i] = 1
	}
	for k := range m {
		pivot := k
		for i := k; i < m; i++ {
			if math.Abs(a[i*m+k]) > math.Abs(a[pivot*m+k]) {
				pivot = i
			}
		}
		if math.Abs(a[pivot*m+k]) < 1e-9 {
			return false
		}
		if pivot != k {
			for j := range m {
				a[k*m+j], a[pivot*m+j] = a[pivot*m+j], a[k*m+j]
				inv[k*m+j], inv[pivot*m+j] = inv[pivot*m+j], inv[k*m+j]
			}
		}
		if s.x.stopped() {
			return false
		}
		scale := 1 / a[k*m+k]
		touched := 2
		ak, ik := a[k*m:(k+1)*m], inv[k*m:(k+1)*m]
		left, right := s.filled[:0], s.filledToo[:0]
		for j := k; j < m; j++ {
			if ak[j] != 0 {
				ak[j] *= scale
				left = append(left, j)
			}
		}
		for j, v := range ik {
			if v != 0 {
				ik[j] *= scale
				right = append(right, j)
			}
		}
		s.filled, s.filledToo = left, right
		for i := range m {
			f := a[i*m+k]
			if i == k || f == 0 {
				continue
			}
			ai, ii := a[i*m:(i+1)*m], inv[i*m:(i+1)*m]
			touched++
			for _, j := range left {
				ai[j] -= f * ak[j]
			}
			for _, j := range right {
				ii[j] -= f * ik[j]
			}
		}
		s.x.work(touched*(len(left)+len(right)) + 4*m)
	}
	s.inverse = a // of no other use by now
	for i := range m {
		row := inv[i*m : (i+1)*m]
		cost := s.columns[s.basis[i]].cost
		sum := 0.0
		for j, v := range row {
			sum += v * s.rhs[j]
			s.dual[j] += cost * v
			s.inverse[j*m+i] = v
		}
		s.value[i] = sum
	}
	s.pivots = 0
	return true
}

func (s *master) reduced(c *column) float64 {
	d := c.cost
	for i, row := range c.rows {
		d -= s.dual[row] * c.coefs[i]
	}
	return d
}

// optimise pivots until no known column improves, or until too many pivots. It
// returns the cost reached.
func (s *master) optimise(most int) float64 {
	for range most {
		enter, low := s.enter()
		if s.x.stopped() || enter < 0 || !s.pivot(enter, low) {
			break
		}
	}
	return s.cost()
}

// pivotsPerInverse is how many pivots an inverse bears before rounding errors
// call for a fresh one.
const pivotsPerInverse = 800

// leastGain is the least by which a column must improve the cost to enter.
const leastGain = 1e-9

// shortList is how many columns are priced again before all are.
const shortList = 60

// enter finds the column that improves most among those that did when all were
// last priced, or among all when none of those does any more; -1 when none does.
func (s *master) enter() (column int, reduced float64) {
	column, reduced = -1, -leastGain
	for _, j := range s.hopeful {
		if !s.basic[j] {
			if d := s.reduced(&s.columns[j]); d < reduced {
				column, reduced = j, d
			}
		}
	}
	s.x.work(30 * len(s.hopeful))
	if column >= 0 {
		return column, reduced
	}
	s.x.work(30 * len(s.columns))
	s.hopeful, s.gains = s.hopeful[:0], s.gains[:0]
	for j := range s.columns {
		if s.basic[j] {
			continue
		}
		if d := s.reduced(&s.columns[j]); d < -leastGain {
			s.gains = append(s.gains, gain{j, d})
		}
	}
	slices.SortFunc(s.gains, func(a, b gain) int { return cmp.Or(cmp.Compare(a.reduced, b.reduced), cmp.Compare(a.column, b.column)) })
	for _, g := range s.gains[:min(len(s.gains), shortList)] {
		s.hopeful = append(s.hopeful, g.column)
	}
	if len(s.gains) == 0 {
		return -1, 0
	}
	return s.gains[0].column, s.gains[0].reduced
}

// gain is a column with its reduced cost.
type gain struct {
	column  int
	reduced float64
}

func (s *master) cost() float64 {
	total := float64(s.x.p.fixed) * s.money
	for i, v := range s.value {
		total += v * s.columns[s.basis[i]].cost
	}
	return total
}

func (s *master) pivot(enter int, reduced float64) bool {
	m := s.m
	c := &s.columns[enter]
	leave := -1
	ratio := math.Inf(1)
	clear(s.alpha)
	for k, r := range c.rows {
		subtract(s.alpha, s.inverse[int(r)*m:(int(r)+1)*m], -c.coefs[k])
	}
	for i, a := range s.alpha {
		if a > 1e-9 {
			if q := max(0, s.value[i]) / a; q < ratio-1e-12 || q < ratio+1e-12 && (leave < 0 || a > s.alpha[leave]) {
				ratio, leave = q, i
			}
		}
	}
	if leave < 0 {
		return false
	}
	a := s.alpha[leave]
	s.filled = s.filled[:0]
	for i, f := range s.alpha {
		if f != 0 {
			s.filled = append(s.filled, i)
			s.value[i] -= ratio * f
		}
	}
	// Above a third it is quicker to take the zeros along than to skip them.
	dense := 3*len(s.filled) > m
	touched := 0
	for j := range m {
		column := s.inverse[j*m : (j+1)*m]
		if column[leave] == 0 {
			continue
		}
		touched++
		v := column[leave] / a
		if dense {
			subtract(column, s.alpha, v)
		} else {
			for _, i := range s.filled {
				column[i] -= v * s.alpha[i]
			}
		}
		column[leave] = v
		s.dual[j] += reduced * v
	}
	s.x.work(m*len(c.rows)/2 + touched*min(m, 2*len(s.filled)))
	s.value[leave] = ratio
	s.basic[s.basis[leave]] = false
	s.basis[leave] = enter
	s.basic[enter] = true
	if s.pivots++; s.pivots >= pivotsPerInverse {
		return s.refactor()
	}
	return true
}

// subtract takes a vector, so many times, from another of the same length.
func subtract(from, vector []float64, times float64) {
	for len(vector) >= 4 && len(from) >= 4 {
		from[0] -= times * vector[0]
		from[1] -= times * vector[1]
		from[2] -= times * vector[2]
		from[3] -= times * vector[3]
		from, vector = from[4:], vector[4:]
	}
	for j, v := range vector {
		from[j] -= times * v
	}
}
