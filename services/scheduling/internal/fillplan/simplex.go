package fillplan

import "math"

// refactor inverts the basis afresh; false when it is singular.
func (s *master) refactor() bool {
	m := s.m
	s.value = make([]float64, m)
	s.dual = make([]float64, m)
	s.alpha = make([]float64, m)
	a := make([]float64, m*m)
	s.inverse = make([]float64, m*m)
	s.basic = map[int]bool{}
	for k, j := range s.basis {
		s.basic[j] = true
		for i, row := range s.columns[j].rows {
			a[int(row)*m+k] = s.columns[j].coefs[i]
		}
	}
	inv := s.inverse
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
		s.x.work(m * m)
		if s.x.stopped() {
			return false
		}
		scale := 1 / a[k*m+k]
		ak, ik := a[k*m:(k+1)*m], inv[k*m:(k+1)*m]
		for j := k; j < m; j++ {
			ak[j] *= scale
		}
		for j := range ik {
			ik[j] *= scale
		}
		for i := range m {
			f := a[i*m+k]
			if i == k || f == 0 {
				continue
			}
			ai, ii := a[i*m:(i+1)*m], inv[i*m:(i+1)*m]
			for j := k; j < m; j++ {
				ai[j] -= f * ak[j]
			}
			for j, v := range ik {
				if v != 0 {
					ii[j] -= f * v
				}
			}
		}
	}
	for i := range m {
		row := inv[i*m : (i+1)*m]
		cost := s.columns[s.basis[i]].cost
		sum := 0.0
		for j, v := range row {
			sum += v * s.rhs[j]
			s.dual[j] += cost * v
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
		enter, low := -1, -1e-9
		for j := range s.columns {
			if s.basic[j] {
				continue
			}
			if d := s.reduced(&s.columns[j]); d < low {
				enter, low = j, d
			}
		}
		if s.x.stopped() || enter < 0 || !s.pivot(enter, low) {
			break
		}
	}
	return s.cost()
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
	s.x.work(2*m*m + 50*len(s.columns))
	c := &s.columns[enter]
	leave := -1
	ratio := math.Inf(1)
	for i := range m {
		row := s.inverse[i*m : (i+1)*m]
		sum := 0.0
		for k, r := range c.rows {
			sum += row[r] * c.coefs[k]
		}
		s.alpha[i] = sum
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
	pr := s.inverse[leave*m : (leave+1)*m]
	for j := range pr {
		pr[j] /= a
	}
	for i, f := range s.alpha {
		if i == leave || f == 0 {
			continue
		}
		row := s.inverse[i*m : (i+1)*m]
		for j, v := range pr {
			row[j] -= f * v
		}
		s.value[i] -= ratio * f
	}
	s.value[leave] = ratio
	for j, v := range pr {
		s.dual[j] += reduced * v
	}
	delete(s.basic, s.basis[leave])
	s.basis[leave] = enter
	s.basic[enter] = true
	if s.pivots++; s.pivots >= 400 {
		return s.refactor()
	}
	return true
}
