package shareout

import "math/bits"

// Level is how well a farm does: an exact fraction, never negative. Num counts
// kilograms, Den units of the rule; Den is at least 1.
type Level struct{ Num, Den int64 }

// Compare returns -1, 0 or 1. It multiplies in 128 bits, so no fraction is too
// fine for it.
func (l Level) Compare(o Level) int {
	ah, al := bits.Mul64(uint64(l.Num), uint64(o.Den))
	bh, bl := bits.Mul64(uint64(o.Num), uint64(l.Den))
	switch {
	case ah < bh || ah == bh && al < bl:
		return -1
	case ah == bh && al == bl:
		return 0
	default:
		return 1
	}
}

// Float is the level as a number for showing.
func (l Level) Float() float64 { return float64(l.Num) / float64(l.Den) }

// compareLevels compares two ascending lists of the same length by their
// first difference.
func compareLevels(a, b []Level) int {
	for i := range a {
		if c := a[i].Compare(b[i]); c != 0 {
			return c
		}
	}
	return 0
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
