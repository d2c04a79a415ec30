// Package network owns the two flow computations that sharing out needs, on
// whole numbers only: the largest flow with its smallest cut (MaxFlow), and
// the cheapest flow for given supplies (MinCost).
//
// Neither knows what flows: the caller reads kilograms, or multiples of them,
// into the numbers. Both are deterministic: the same calls in the same order
// give the same flow.
package network
