package dimacs_test

import (
	"fmt"
	"strings"

	"breakshare.example/services/order/internal/match/flow"
)

// spell writes a problem in the format.
func spell(p *flow.Problem) string {
	var b strings.Builder
	fmt.Fprintf(&b, "p min %d %d\n", p.Nodes(), p.Arcs())
	for u, s := range p.Supply {
		if s != 0 {
			fmt.Fprintf(&b, "n %d %d\n", u+1, s)
		}
	}
	for i := range p.From {
		low, capacity := int64(0), p.Cap[i]
		if p.Low != nil {
			low = p.Low[i]
		}
		if capacity == flow.Unlimited {
			capacity = -1
		}
		fmt.Fprintf(&b, "a %d %d %d %d %d\n", p.From[i]+1, p.To[i]+1, low, capacity, p.Cost[i])
	}
	return b.String()
}
