package flow

import (
	"fmt"
	"math"
)

// Unlimited is the capacity of an arc without an upper bound.
const Unlimited int64 = math.MaxInt64

// Limits on the numbers of a Problem. Together they keep every intermediate
// value of Solve and Verify inside int64; see check.
const (
	// MaxNodes is the largest number of nodes.
	MaxNodes = 1 << 24
	// MaxArcs is the largest number of arcs.
	MaxArcs = 1 << 30
	// MaxVolume bounds the sum of all |supply|, |least flow| and finite
	// capacities, in units of flow.
	MaxVolume int64 = 1 << 58
	// MaxPathCost bounds (nodes + 2) times the largest |cost|.
	MaxPathCost int64 = 1 << 58
)

// Problem is a minimum-cost-flow problem. Nodes are numbered from 0; arc i
// runs From[i] to To[i]. Parallel arcs, self-loops, zero capacities and
// isolated nodes are allowed.
type Problem struct {
	// Supply of each node in units of flow; negative is demand. The sum must
	// be 0, or the problem is infeasible.
	Supply []int64
	// From and To are the tail and head of each arc.
	From, To []int32
	// Low is the least flow of each arc; nil means 0 for all. It may be
	// negative.
	Low []int64
	// Cap is the most flow of each arc, at least Low, or Unlimited.
	Cap []int64
	// Cost is the cost per unit on each arc; it may be negative.
	Cost []int64
}

// Nodes returns the number of nodes.
func (p *Problem) Nodes() int { return len(p.Supply) }

// Arcs returns the number of arcs.
func (p *Problem) Arcs() int { return len(p.From) }

func (p *Problem) low(i int) int64 {
	if p.Low == nil {
		return 0
	}
	return p.Low[i]
}

// check refuses a problem that is malformed (*MalformedError) or whose numbers
// could overflow (*OverflowError). It returns the largest |cost|.
func (p *Problem) check() (maxCost int64, err error) {
	n, m := p.Nodes(), p.Arcs()
	if n > MaxNodes {
		return 0, &OverflowError{Arc: -1, Node: -1, What: fmt.Sprintf("%d nodes, at most %d", n, MaxNodes)}
	}
	if m > MaxArcs {
		return 0, &OverflowError{Arc: -1, Node: -1, What: fmt.Sprintf("%d arcs, at most %d", m, MaxArcs)}
	}
	if len(p.To) != m || len(p.Cap) != m || len(p.Cost) != m || (p.Low != nil && len(p.Low) != m) {
		return 0, &MalformedError{Arc: -1, What: fmt.Sprintf(
			"lengths differ: %d From, %d To, %d Low, %d Cap, %d Cost", m, len(p.To), len(p.Low), len(p.Cap), len(p.Cost))}
	}
	v := volume{}
	most := MaxPathCost / int64(n+2)
	for u, b := range p.Supply {
		if !v.add(b) {
			return 0, &OverflowError{Arc: -1, Node: u, What: tooMuch("supply", b)}
		}
	}
	for i := range p.From {
		if err := p.checkArc(i, &v); err != nil {
			return 0, err
		}
		c := p.Cost[i]
		if c < 0 {
			c = -c // MinInt64 stays negative and is caught just below
		}
		if c < 0 || c > most {
			return 0, &OverflowError{Arc: i, Node: -1, What: fmt.Sprintf(
				"cost %d; with %d nodes at most %d either way", p.Cost[i], n, most)}
		}
		maxCost = max(maxCost, c)
	}
	return maxCost, nil
}

func (p *Problem) checkArc(i int, v *volume) error {
	u, w := p.From[i], p.To[i]
	n := int32(p.Nodes())
	if u < 0 || u >= n || w < 0 || w >= n {
		return &MalformedError{Arc: i, What: fmt.Sprintf("runs %d to %d, but nodes go from 0 to %d", u, w, n-1)}
	}
	low, capacity := p.low(i), p.Cap[i]
	if capacity < low {
		return &MalformedError{Arc: i, What: fmt.Sprintf("capacity %d is below the least flow %d", capacity, low)}
	}
	if !v.add(low) {
		return &OverflowError{Arc: i, Node: -1, What: tooMuch("least flow", low)}
	}
	if capacity != Unlimited && !v.add(capacity) {
		return &OverflowError{Arc: i, Node: -1, What: tooMuch("capacity", capacity) + "; use Unlimited for an arc without a bound"}
	}
	return nil
}

func tooMuch(what string, x int64) string {
	return fmt.Sprintf("%s %d brings the sum of all supplies, least flows and finite capacities above %d", what, x, MaxVolume)
}

// volume sums absolute values and refuses to pass MaxVolume.
type volume struct{ sum int64 }

func (v *volume) add(x int64) bool {
	if x < 0 {
		x = -x
	}
	if x < 0 || x > MaxVolume-v.sum {
		return false
	}
	v.sum += x
	return true
}
