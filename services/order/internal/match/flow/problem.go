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
// could overflow (*OverflowError).
func (p *Problem) check() (size, error) {
	n, m := p.Nodes(), p.Arcs()
	if n > MaxNodes {
		return size{}, &OverflowError{Arc: -1, Node: -1, What: fmt.Sprintf("%d nodes, at most %d", n, MaxNodes)}
	}
	if m > MaxArcs {
		return size{}, &OverflowError{Arc: -1, Node: -1, What: fmt.Sprintf("%d arcs, at most %d", m, MaxArcs)}
	}
	if len(p.To) != m || len(p.Cap) != m || len(p.Cost) != m || (p.Low != nil && len(p.Low) != m) {
		return size{}, &MalformedError{Arc: -1, What: fmt.Sprintf(
			"lengths differ: %d From, %d To, %d Low, %d Cap, %d Cost", m, len(p.To), len(p.Low), len(p.Cap), len(p.Cost))}
	}
	// Volumes are summed unsigned: a sum that was within MaxVolume cannot wrap
	// when one more absolute value is added.
	var volume uint64
	for u, b := range p.Supply {
		if volume += abs(b); volume > uint64(MaxVolume) {
			return size{}, &OverflowError{Arc: -1, Node: u, What: tooMuch("supply", b)}
		}
	}
	var dearest uint64
	to, capacity, cost := p.To[:m], p.Cap[:m], p.Cost[:m]
	for i, u := range p.From {
		c, low := capacity[i], int64(0)
		if p.Low != nil {
			low = p.Low[i]
			volume += abs(low)
		}
		if uint32(u) >= uint32(n) || uint32(to[i]) >= uint32(n) || c < low || volume > uint64(MaxVolume) {
			return size{}, p.fault(i)
		}
		if c != Unlimited {
			if volume += abs(c); volume > uint64(MaxVolume) {
				return size{}, p.fault(i)
			}
		}
		dearest = max(dearest, abs(cost[i]))
	}
	if dearest > uint64(MaxPathCost/int64(n+2)) {
		return size{}, p.tooDear()
	}
	return size{volume, int64(dearest)}, nil
}

// size is what check sums up.
type size struct {
	volume  uint64 // see MaxVolume
	dearest int64  // largest |cost|
}

// swap replaces one part of the volume, and says whether it is still allowed.
func (z *size) swap(old, now uint64) bool {
	z.volume = z.volume - old + now
	return now <= uint64(MaxVolume) && z.volume <= uint64(MaxVolume)
}

// maxPenalty is dearer than any path through n nodes.
func (z size) maxPenalty(n int) int64 { return int64(n+1)*z.dearest + 1 }

// finite is the part of a capacity in the volume.
func finite(capacity int64) uint64 {
	if capacity == Unlimited {
		return 0
	}
	return abs(capacity)
}

// abs returns |x|, of the least integer too.
func abs(x int64) uint64 {
	if x < 0 {
		return -uint64(x)
	}
	return uint64(x)
}

// fault words what check found wrong with arc i.
func (p *Problem) fault(i int) error {
	u, w := p.From[i], p.To[i]
	n := int32(p.Nodes())
	low, capacity := p.low(i), p.Cap[i]
	switch {
	case u < 0 || u >= n || w < 0 || w >= n:
		return &MalformedError{Arc: i, What: fmt.Sprintf("runs %d to %d, but nodes go from 0 to %d", u, w, n-1)}
	case capacity < low:
		return &MalformedError{Arc: i, What: fmt.Sprintf("capacity %d is below the least flow %d", capacity, low)}
	case capacity == Unlimited:
		return &OverflowError{Arc: i, Node: -1, What: tooMuch("least flow", low)}
	}
	return &OverflowError{Arc: i, Node: -1, What: tooMuch("capacity", capacity) + "; an arc without a bound should have none, not a huge one"}
}

// tooDear names the first arc whose cost is too large.
func (p *Problem) tooDear() error {
	most := MaxPathCost / int64(p.Nodes()+2)
	for i, c := range p.Cost {
		if abs(c) > uint64(most) {
			return &OverflowError{Arc: i, Node: -1, What: tooDear(c, p.Nodes())}
		}
	}
	return nil
}

func tooDear(cost int64, nodes int) string {
	return fmt.Sprintf("cost %d; with %d nodes at most %d either way", cost, nodes, MaxPathCost/int64(nodes+2))
}

func tooMuch(what string, x int64) string {
	return fmt.Sprintf("%s %d brings the sum of all supplies, least flows and finite capacities above %d", what, x, MaxVolume)
}
