// Package release owns whether a lot of compost is proven fit to leave the
// yard: criteria as data, each with its source, judged on the readings of
// probes.
//
// A criterion is Met, NotMet or NotProven. Proof needs readings that are
// possible, that move, and that follow each other closely: time across a gap,
// at a stuck probe or at an impossible value counts as unknown. What would
// fail even if all unknown time had been good is NotMet; what fails only for
// want of readings is NotProven.
//
// Values are whole thousandths of the unit (Quantity tells which), instants
// are Unix seconds. The package gives evidence; releasing is the decision of a
// named person (Decide).
package release
