// Package calendar owns the dates of crops: when each stage of a crop falls,
// forwards from a filling day or backwards from a wanted first pick; which rooms
// and tunnels the crop holds meanwhile; how dates that really happened shift what
// follows; and where two crops want one room.
//
// How a date is found: a stage that was recorded stands on its recorded day. A
// stage that was not begins the usual days after the one before it, kept within
// the least and most days that the programme gives towards the recorded stages
// on either side, then moved to the nearest day on which the co-op's rules let it
// begin (the later of two equally near), still within least and most. Stages
// before filling (phase I at the yard, phase II in a tunnel) count backwards from
// filling. Reality is never bent: recorded days outside the programme's range
// are kept and flagged.
//
// A stage lasts from its start to the next stage's start, that day excluded; so
// a room emptied and filled on one day is not doubly occupied. Day 0 is the day
// of filling.
//
// The package is pure: no clock, no database, no protobuf. All functions are
// deterministic and safe for concurrent use; none changes its arguments.
package calendar
