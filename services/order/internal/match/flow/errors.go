package flow

import "fmt"

// MalformedError says that a Problem is not well formed.
type MalformedError struct {
	// Arc is the offending arc, or -1 where no single arc is at fault.
	Arc int
	// What is wrong, in words.
	What string
}

// Error names the arc and what is wrong with it.
func (e *MalformedError) Error() string {
	if e.Arc < 0 {
		return "flow: malformed problem: " + e.What
	}
	return fmt.Sprintf("flow: malformed problem: arc %d: %s", e.Arc, e.What)
}

// OverflowError says that a number is too large to be handled exactly.
type OverflowError struct {
	// Arc and Node name the offender; -1 where it is not one of them.
	Arc, Node int
	// What is too large and what the limit is, in words.
	What string
}

// Error names the arc or node and the limit.
func (e *OverflowError) Error() string {
	switch {
	case e.Arc >= 0:
		return fmt.Sprintf("flow: too large: arc %d: %s", e.Arc, e.What)
	case e.Node >= 0:
		return fmt.Sprintf("flow: too large: node %d: %s", e.Node, e.What)
	}
	return "flow: too large: " + e.What
}

// InfeasibleError says that no flow meets all supplies within the bounds, and
// proves it with a set of nodes.
type InfeasibleError struct {
	// Nodes is the set, in increasing order.
	Nodes []int32
	// Excess is, for the set, its supply plus what must flow in less what may
	// flow out. A positive Excess is supply that cannot leave the set. It is
	// negative only where Nodes is the whole network: demand without supply.
	Excess int64
}

// Error gives the size of the set and the excess.
func (e *InfeasibleError) Error() string {
	if e.Excess < 0 {
		return fmt.Sprintf("flow: infeasible: demand exceeds supply by %d over the whole network", -e.Excess)
	}
	return fmt.Sprintf("flow: infeasible: %d of supply cannot leave a set of %d nodes (the first is node %d)",
		e.Excess, len(e.Nodes), e.Nodes[0])
}

// UnboundedError says that the cost can fall without limit: a cycle of
// unlimited arcs has a negative total cost.
type UnboundedError struct {
	// Arcs of the cycle, each starting where the one before it ends.
	Arcs []int32
	// Cost of sending one unit around the cycle; negative.
	Cost int64
}

// Error gives the length and cost of the cycle.
func (e *UnboundedError) Error() string {
	return fmt.Sprintf("flow: unbounded: a cycle of %d unlimited arcs (the first is arc %d) costs %d per unit",
		len(e.Arcs), e.Arcs[0], e.Cost)
}
