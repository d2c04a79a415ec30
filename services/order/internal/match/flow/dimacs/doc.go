// Package dimacs reads minimum-cost-flow problems and writes their solutions
// in the text format of the first DIMACS implementation challenge ("The First
// DIMACS International Algorithm Implementation Challenge: Problem
// Definitions and Specifications", 1990).
//
//	c a comment
//	p min NODES ARCS
//	n ID FLOW                  supply of a node, counted from 1; negative is demand
//	a SRC DST LOW CAP COST     one line per arc, after all node lines
//
// and in solutions
//
//	s COST
//	f SRC DST FLOW             one line per arc, in the order of the problem
//
// A negative CAP means no upper bound, a common reading of the format.
package dimacs
