package main

// rng is SplitMix64.
type rng struct{ s uint64 }

func newRNG(seed uint64, name string) *rng {
	r := &rng{seed}
	for i := 0; i < len(name); i++ {
		r.s = r.s*1099511628211 + uint64(name[i])
		r.next()
	}
	return r
}

func (r *rng) next() uint64 {
	r.s += 0x9E3779B97F4A7C15
	z := r.s
	z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9
	z = (z ^ (z >> 27)) * 0x94D049BB133111EB
	return z ^ (z >> 31)
}

// between returns an integer in [lo, hi]. The tiny modulo bias is irrelevant here.
func (r *rng) between(lo, hi int) int {
	return lo + int(r.next()%uint64(hi-lo+1))
}

// pick returns an index with probability proportional to w.
func (r *rng) pick(w []int) int {
	t := 0
	for _, x := range w {
		t += x
	}
	v := int(r.next() % uint64(t))
	for i, x := range w {
		if v < x {
			return i
		}
		v -= x
	}
	panic("unreachable")
}

func isqrt(x int) int {
	if x < 2 {
		return x
	}
	r := x
	y := (r + 1) / 2
	for y < r {
		r = y
		y = (r + x/r) / 2
	}
	return r
}
