// Package flow finds minimum-cost flows exactly, in integers.
//
// A Problem is a directed network with a supply on each node and, on each arc,
// a least flow, a capacity and a cost per unit. Solver finds a flow that meets
// every supply within the bounds at the least total cost, together with node
// potentials that prove it; Verify checks that proof in one pass and shares no
// code with the solver.
//
// The method is the primal network simplex with a strongly feasible basis
// (Cunningham, "A network simplex method", Mathematical Programming 11, 1976),
// the basis tree kept as a preorder thread (Ahuja, Magnanti and Orlin, Network
// Flows, 1993, chapter 11). Of the two sides of the tree that a pivot parts, the
// smaller has its potentials shifted. Two additions suit networks in which most
// nodes only receive, each over many arcs, as order lines do: the arcs are
// priced one receiving node after another, and a receiving node that is a leaf
// of the tree stores its potential as an offset from its parent, so that moving
// a subtree never touches the leaves below it. Elsewhere blocks of arcs from
// all over the network are priced, and arcs passed over stay candidates.
//
// A solved Problem can be solved again after changes: Resolve reads all of it
// anew and starts from the last basis, Change is told what changes and looks at
// nothing else before it prices the arcs. Both mend the flows of the basis tree
// from the leaves up; where an arc cannot carry what it should, its subtree is
// hung from the root by an artificial arc, and the primal method goes on.
//
// The package does no input or output, reads no clock and gives the same
// answer for the same input. No arithmetic can overflow: Solve refuses, with
// *OverflowError, numbers too large for its bounds before it starts.
package flow
