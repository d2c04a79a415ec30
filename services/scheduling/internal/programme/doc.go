// Package programme owns crop programmes: what one cycle of a species on a
// growing system looks like, as data that a co-op can copy and change.
//
// A programme is an ordered list of stages with least, usual and most days, the
// climate each stage wants, what goes into a square metre of bed, how the breaks
// come, how much work it takes and which products it can bear. Day 0 is the day
// of filling; stages before filling (phase I at the yard, phase II or the spawn
// run in a tunnel) lie on negative days.
//
// No number stands without its origin: every value names a Source, and a source
// says whether it was published, is common practice without a source, or is
// from memory. Programmes are versioned; a running crop keeps the version it
// began with, so a changed programme is a new version and never an edit.
//
// The package is pure: no clock, no database, no protobuf.
package programme
