// Package massbalance owns what becomes of a lot's mass: dry matter that
// burns off in phases I and II, nitrogen that grows richer only because dry
// matter goes, and the mass that is left after deliveries, which is never
// below nothing.
//
// Masses are whole grams; shares lost are from 0 to 1; moisture is % of wet
// mass, nitrogen % of dry matter.
package massbalance
