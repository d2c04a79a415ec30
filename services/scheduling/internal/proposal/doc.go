// Package proposal owns the way from a co-op as it stands to a fill-planning
// problem and back: rooms, programmes, running crops, published slots, demand and
// prices become an instance of package fillplan with its wishes; a plan becomes
// fills on days on which the co-op fills and compost is ready.
//
// How the week-by-week problem is drawn from the days:
//
//   - A programme's fill is reckoned from a Monday, at the usual days of its
//     stages. A break's share of the usual yield is spread evenly over its days and
//     over what the programme bears, in whole grams that add up.
//   - A fill holds its room for the whole weeks that its usual days touch, from
//     filling on; so does a tray crop, although it comes to the growing room later.
//   - Compost is counted in kilograms per square metre, rounded up. Where rooms need
//     more than one phase, the weekly capacity is that of all these phases
//     together, and a fill that its own phase cannot serve in a week is forbidden
//     there; a plan that still asks too much of a phase is mended by giving up the
//     fills it would miss least and planning again (TooMuch, Without). Since that
//     only takes choices away, a bound of the problem as built holds for the mended
//     plan too.
//   - Weeks after the last published slot are reckoned at a given capacity, or at
//     the mean of the weeks with slots.
//
// Fairness between farms and work peaks enter as charges on single fills, drawn
// from the crops that stand: a plan cannot trade them off exactly, so what it
// means for each farm is reported beside it.
//
// The package is pure: no clock, no database, no protobuf.
package proposal
