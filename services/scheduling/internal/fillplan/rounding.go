package fillplan

// shifted is a rounding in which each room of a group counts shift grams before
// it does anything: a room makes at most one of the fills, so the grams can be
// given to the room for making any of them or none.
type shifted struct {
	demand, divisor int64
	groups          []group
	shift           []int64
	round           rounding
}

func newShifted(demand, divisor int64, groups []group) *shifted {
	s := &shifted{demand: demand, divisor: divisor, groups: groups, shift: make([]int64, len(groups))}
	s.round = rounding{demand, divisor}
	return s
}

func (s *shifted) update() {
	total := s.demand
	for i, g := range s.groups {
		total += s.shift[i] * g.rooms
	}
	s.round = rounding{total, s.divisor}
}

func (s *shifted) rhs() int64 {
	total := s.round.rhs()
	for i, g := range s.groups {
		total -= g.rooms * s.round.coef(s.shift[i])
	}
	return total
}

func (s *shifted) coef(group int, grams int64) int64 {
	return s.round.coef(grams+s.shift[group]) - s.round.coef(s.shift[group])
}

// value is the grams short the cut demands of the average plan.
func (s *shifted) value() float64 {
	v := float64(s.rhs())
	for i, g := range s.groups {
		for k, l := range g.lumps {
			if g.part[k] > 0 {
				v -= g.part[k] * float64(s.coef(i, l.coef))
			}
		}
	}
	return v
}

// climb shifts one group after the other to where the cut demands most.
func (s *shifted) climb() float64 {
	best := s.value()
	for range 2 {
		before := best
		for i, g := range s.groups {
			keep := s.shift[i]
			tried := map[int64]bool{}
			for k, l := range g.lumps {
				shift := s.divisor - l.coef%s.divisor
				if g.part[k] < 0.01 || tried[shift] {
					continue
				}
				tried[shift] = true
				s.shift[i] = shift
				s.update()
				if v := s.value(); v > best {
					best, keep = v, shift
				}
			}
			s.shift[i] = 0
			s.update()
			if v := s.value(); v > best {
				best, keep = v, 0
			}
			s.shift[i] = keep
			s.update()
		}
		if best <= before {
			break
		}
	}
	return best
}

func (s *shifted) hash() uint64 {
	h := uint64(14695981039346656037)
	for _, v := range s.shift {
		h = (h ^ uint64(v)) * 1099511628211
	}
	return h
}

// rounding is a demand in grams with the divisor it is rounded by.
type rounding struct {
	demand, divisor int64
}

// rest is what is left of the demand, from 1 gram to the divisor.
func (m rounding) rest() int64 { return m.demand - m.divisor*(m.times()-1) }

func (m rounding) times() int64 { return ceilDiv(m.demand, m.divisor) }

func (m rounding) rhs() int64 { return m.rest() * m.times() }

func (m rounding) coef(grams int64) int64 {
	return m.rest()*(grams/m.divisor) + min(m.rest(), grams%m.divisor)
}

// group is the rooms of one area with what they can add to a window.
type group struct {
	area  int64
	rooms int64
	lumps []term
	part  []float64
}
