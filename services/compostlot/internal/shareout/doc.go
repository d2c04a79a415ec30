// Package shareout owns how batch slots of compost are shared out among farms
// that ask for more than there is.
//
// The rule, in this order:
//
//  1. A farm's level is what it gets over its unit: weight times asked
//     (BySatisfiedShare) or weight alone (ByEqualAwards, the constrained equal
//     awards rule of claims problems). The lowest level is made as high as it
//     can be, then the second lowest, and so on (lexicographic max-min), over
//     all slots and windows together. All requests of a farm count as one, so
//     a farm gains nothing by splitting its request.
//  2. Exact fractions are rounded to whole kilograms by largest remainder; of
//     equal remainders the farm whose id sorts first gets the kilogram.
//  3. Among all ways to give farms these amounts the cheapest haul is taken;
//     of equally cheap ones the earliest slots.
//
// Divisible amounts are exact: the levels are fractions found by maximum
// flows on whole numbers, never floats. Smallest useful amounts, whole fills
// and smallest lots make the problem one of choice; the choices are searched
// exhaustively within a budget of work that small rounds stay inside, and a
// round that does not is answered with a stated bound (Result.Bound).
//
// A farm that overstates what it asks gains under BySatisfiedShare, as it does
// under any proportional rule; ByEqualAwards takes that gain away.
//
// The order of slots and requests in the input is irrelevant.
package shareout
