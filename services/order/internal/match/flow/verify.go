package flow

import (
	"fmt"
	"math/bits"
)

// maxPotential bounds |Potential| so that a reduced cost cannot overflow.
const maxPotential int64 = 1 << 61

// CertificateError says what Verify found wrong with a Result.
type CertificateError struct {
	// Arc and Node name where; -1 where it is not one of them.
	Arc, Node int
	// What is wrong, in words.
	What string
}

// Error names the place and the fault.
func (e *CertificateError) Error() string {
	switch {
	case e.Arc >= 0:
		return fmt.Sprintf("flow: result is not optimal: arc %d: %s", e.Arc, e.What)
	case e.Node >= 0:
		return fmt.Sprintf("flow: result is not optimal: node %d: %s", e.Node, e.What)
	}
	return "flow: result is not optimal: " + e.What
}

// Verify proves that r solves p: every arc's flow lies within its bounds,
// every node sends out its supply, and with the reduced cost
//
//	Cost + Potential[From] - Potential[To]
//
// an arc of positive reduced cost is at its least flow and one of negative
// reduced cost at its capacity (complementary slackness, which suffices for
// optimality), and the costs add up to r.Cost. It takes one pass over the arcs
// and returns *CertificateError for the first fault, or *MalformedError or
// *OverflowError for a problem that Solve would refuse.
func Verify(p *Problem, r Result) error {
	if _, err := p.check(); err != nil {
		return err
	}
	if len(r.Flow) != p.Arcs() || len(r.Potential) != p.Nodes() {
		return &CertificateError{Arc: -1, Node: -1, What: fmt.Sprintf(
			"%d flows for %d arcs, %d potentials for %d nodes", len(r.Flow), p.Arcs(), len(r.Potential), p.Nodes())}
	}
	for u, y := range r.Potential {
		if y > maxPotential || y < -maxPotential {
			return &CertificateError{Arc: -1, Node: u, What: fmt.Sprintf("potential %d is out of range", y)}
		}
	}
	left := make([]int64, p.Nodes())
	copy(left, p.Supply)
	var total sum128
	for i, x := range r.Flow {
		if err := verifyArc(p, i, x, r.Potential); err != nil {
			return err
		}
		left[p.From[i]] -= x
		left[p.To[i]] += x
		if tooFar(left[p.From[i]]) || tooFar(left[p.To[i]]) {
			return &CertificateError{Arc: i, Node: -1, What: fmt.Sprintf("flow %d is out of range", x)}
		}
		if x != 0 {
			total.addProduct(x, p.Cost[i])
		}
	}
	for u, b := range left {
		if b != 0 {
			return &CertificateError{Arc: -1, Node: u, What: fmt.Sprintf("supply %d leaves %d unsent", p.Supply[u], b)}
		}
	}
	if cost, ok := total.int64(); !ok || cost != r.Cost {
		return &CertificateError{Arc: -1, Node: -1, What: fmt.Sprintf("cost is given as %d, the flows cost %d", r.Cost, cost)}
	}
	return nil
}

// tooFar says whether a running balance has left the range in which one more
// arc's flow cannot overflow it.
func tooFar(x int64) bool { return x > 8*MaxVolume || x < -8*MaxVolume }

func verifyArc(p *Problem, i int, x int64, potential []int64) error {
	low, capacity := p.low(i), p.Cap[i]
	if x < low || x > capacity || x > 2*MaxVolume {
		return &CertificateError{Arc: i, Node: -1, What: fmt.Sprintf("flow %d is outside %d..%d", x, low, capacity)}
	}
	reduced := p.Cost[i] + potential[p.From[i]] - potential[p.To[i]]
	if reduced > 0 && x != low {
		return &CertificateError{Arc: i, Node: -1, What: fmt.Sprintf("reduced cost %d with flow %d above the least, %d", reduced, x, low)}
	}
	if reduced < 0 && x != capacity {
		return &CertificateError{Arc: i, Node: -1, What: fmt.Sprintf("reduced cost %d with flow %d below capacity %d", reduced, x, capacity)}
	}
	return nil
}

// sum128 adds products of int64 in 128 bits, two's complement. MaxVolume and
// MaxPathCost keep the sum far inside that range.
type sum128 struct{ hi, lo uint64 }

func (s *sum128) addProduct(a, b int64) {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	if a < 0 {
		hi -= uint64(b)
	}
	if b < 0 {
		hi -= uint64(a)
	}
	var carry uint64
	s.lo, carry = bits.Add64(s.lo, lo, 0)
	s.hi, _ = bits.Add64(s.hi, hi, carry)
}

// int64 returns the sum, and whether it fits.
func (s *sum128) int64() (int64, bool) {
	v := int64(s.lo)
	return v, s.hi == uint64(v>>63)
}
