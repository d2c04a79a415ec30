// Package match shares a day's packs out over a day's order lines, exactly.
//
// Each product is a pool. Packs flow from pick lots into the pool of their product, out of it
// to the order lines, in whole packs, at the least cost:
//
//	lot ───────► pool of the product ───────► line
//	 │                                          ▲
//	 └─► SURPLUS (unsold) ◄─── SHORT (unmet) ───┘
//
// What is best, the first first:
//
//  1. the value of the demand met, class by class: no amount in a lower class makes up for one
//     pack in a higher one. A pack counts for its value, and never for less than one minor unit;
//  2. older stock goes before newer;
//  3. packs that are cheaper to carry go before dearer; a farm whose cost is not known goes last;
//  4. of lines that are equal in all that, the first by customer, order and product; of lots, the
//     first by lot code.
//
// # One cost for four aims
//
// Costs stand only on the arcs of unmet and of unsold packs. A flow is best exactly when no
// cycle of its residual network has a negative cost, and a simple cycle passes SHORT and SURPLUS
// at most once each. So it lets at most one line gain a pack and one lose it, and at most one
// lot: to see whether a change is for the better, only the order of two lines and of two lots
// counts, and never the size of their difference. Ranks can therefore stand in for values, ages
// and money, and the ranks of the four aims are put into one integer as the digits of a number
// with mixed radix, each radix above the largest change that one cycle makes in the aims below.
// If some other flow were better, aim before aim, the difference of the two would split into
// simple cycles, one of which would be better; and it would show as a negative cost. Since the
// last aim tells any two lines and any two lots apart, the best flow is the only one, and the
// order of the input cannot matter.
//
// The largest cost is the product of the radices. Run refuses a day on which that, times the
// packs or times the nodes, leaves the range in which the solver is exact; see weights.
//
// # From flow to allocations
//
// Which packs of a pool go to which line makes no difference to any aim. They are dealt out in
// turn, lots by farm, room, day and code, lines by customer, order and product, so that a
// customer's packs come from few rooms: lots + lines - 1 allocations at the most in a pool.
package match
