// Package fillplan owns the fill-planning rules: which growing room is filled
// with which crop programme in which week, so that what the rooms yield meets
// what customers want at least cost.
//
// # The problem (format fillplan-1)
//
// Time is cut into weeks 0..T-1. A fill puts a programme into a room in one
// week and occupies the room for the programme's whole number of weeks; it may
// run past the last week. The fills of a room never overlap, none begins before
// the room is free, a room takes only the programmes it is equipped for, and
// the compost of all fills of one week stays within the yard's capacity of that
// week.
//
// A fill of programme p in a room of area a yields a × yield[k][q] grams of
// product q in its k-th week. Supply of a product in a week is the supply
// already committed plus what the fills yield. Each (product, week) stands
// alone: grams short of demand cost the product's shortage price, grams over it
// the surplus price, and nothing is carried from week to week. A fill costs
// floor(cost × area × weeks inside the horizon / weeks occupied) cents.
//
// # Units
//
// A price in cents per kilogram is the same number of thousandths of a cent per
// gram, so every cost is an exact integer M in thousandths of a cent (a
// "millicent" below). Plans are compared by M; on equal M the plan whose
// ascending list of (week, room, programme) is lexicographically smaller wins.
// Instances whose costs could leave the safe range of int64 are refused.
//
// # How a plan is found and how its quality is known
//
// With the other rooms fixed, the cost of one room's timeline is a sum over its
// fills, so its best timeline is a shortest path over the weeks. Solve draws
// timelines room by room from the Boltzmann distribution over those paths,
// lowering the temperature (block Gibbs sampling: Geman and Geman, "Stochastic
// Relaxation, Gibbs Distributions, and the Bayesian Restoration of Images",
// IEEE PAMI 6, 1984), and polishes by exact shortest paths.
//
// The lower bound prices demand and yard capacity (Lagrangian relaxation: Held
// and Karp, "The Traveling-Salesman Problem and Minimum Spanning Trees: Part
// II", Mathematical Programming 1, 1971), so that each room is again a shortest
// path. Supply comes in lumps of area times yield, which cuts from mixed-integer
// rounding turn into dearer shortages; what is left is closed, on small
// instances, by branching on how many fills of a programme a set of rooms makes
// in a few weeks. Good prices come from the volume algorithm and from column
// generation, in floating point. Any prices give a valid bound by weak duality:
// the bound reported is evaluated in whole numbers from prices rounded to whole
// numbers, so rounding can weaken it but never make it false.
//
// Solve works on its caller's goroutine, search and bound by turns. With a step
// budget the result depends on nothing but its arguments (and on the processor
// architecture, whose floating point may differ in the last digit).
//
// The package is pure: no clock but the deadline it is given, no storage, no
// transport.
package fillplan
