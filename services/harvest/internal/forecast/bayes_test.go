package forecast

import (
	"math"
	"testing"
)

// One pick must move a size as the textbook moves a normal mean: prior N(4, 8)
// and one reading of 3 with variance 4 give N(3.3333, 2.6667) (MIT
// OpenCourseWare 18.05, class 15, from memory); the mean 1.80444 of nine midge
// wings of variance 0.016878 against the prior N(1.9, 0.95²) gives 1.8046 and
// 0.00187 (Hoff 2009, A First Course in Bayesian Statistical Methods, from memory).
func TestSizeIsLearnedConjugately(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ prior, variance, reading, noise, wantMean, wantVar, within float64 }{
		{4, 8, 3, 4, 3.3333333, 2.6666667, 1e-6},
		{1.9, 0.9025, 1.8044444, 0.016878 / 9, 1.8046, 0.00187, 5e-5},
	} {
		p := particle{meanA: c.prior, varA: c.variance, meanY: c.prior, varY: c.variance, cov: c.variance}
		p.learn(c.reading-c.prior, 1, c.variance+c.noise)
		if math.Abs(p.meanA-c.wantMean) > c.within || math.Abs(p.varA-c.wantVar) > c.within {
			t.Errorf("size N(%v, %v), want N(%v, %v)", p.meanA, p.varA, c.wantMean, c.wantVar)
		}
		if math.Abs(p.meanY-p.meanA) > 1e-12 || math.Abs(p.varY-p.varA) > 1e-12 {
			t.Errorf("a whole yield that is certain to be the break's moved to N(%v, %v)", p.meanY, p.varY)
		}
	}
}

func TestShapeTable(t *testing.T) {
	t.Parallel()
	// Beta(2, 4) has the distribution function 1 − (1−x)⁴(1+4x).
	for x := -0.1; x < 1.1; x += 0.013 {
		want := 1 - math.Pow(1-x, 4)*(1+4*x)
		if x <= 0 {
			want = 0
		}
		if x >= 1 {
			want = 1
		}
		if got := cumulative(x); math.Abs(got-want) > 1e-4 {
			t.Errorf("F(%v) = %v, want %v", x, got, want)
		}
	}
	var sum float64
	for day := 30; day < 45; day++ {
		sum += dayShare(day, 33.3, 6.4)
	}
	if math.Abs(sum-1) > 1e-12 {
		t.Errorf("the days of a break add up to %v, want 1", sum)
	}
}

func TestSystematicResamplingFollowsTheWeights(t *testing.T) {
	t.Parallel()
	m, err := New(Defaults()[0], Shipped())
	if err != nil {
		t.Fatalf("New: %v", err)
	}
	e := m.begin(Crop{Seed: 3, AreaTenthM2: 100, Stages: []StageDate{{Cased, 10}}})
	for i := range e.particles {
		e.particles[i].weight = 0
	}
	e.particles[5].weight, e.particles[9].weight = 0.75, 0.25
	counts := map[int]int{}
	for _, i := range e.draw(100) {
		counts[i]++
	}
	if counts[5] != 75 || counts[9] != 25 {
		t.Errorf("drawn %v, want 75 of particle 5 and 25 of particle 9", counts)
	}
}
