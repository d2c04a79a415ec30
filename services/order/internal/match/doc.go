// Package match shares a day's packs out over a day's order lines, exactly.
//
// # The network
//
// Packs flow in whole packs, at the least cost, from pick lots to order lines:
//
//	lot ──► group ──► demand ──► want         what a line wants, or a part of it that is pinned
//	 │                             ▲
//	 └─► farm's sum ─► SURPLUS ◄─ SHORT ─► customer's sum
//	        (unsold)                          (unmet)
//
// A demand is all wants that take the same packs at the same cost: the same products (the one
// ordered and those taken instead), farms, lots and zone. A group is all lots that may go to the
// same demands at the same cost. Where nothing but the product matters there is one demand for
// it and no group, so that a day of L lots and N lines has about L + N arcs and not L × N; where
// wishes differ, groups and demands are parted just as far as they differ. Lots that are held or
// past their shelf life or held too warm to keep, and pairs that a wish or a pin forbids, have no arc at all. Unmet and
// unsold packs flow on arcs of their own, so that a flow always exists.
//
// # The aims
//
// What is best, the first first:
//
//  1. the value of the demand met, class by class: no amount in a lower class makes up for one
//     pack in a higher one. A pack counts for its value, never for less than one minor unit, and
//     for its reluctance less where it is given in place of another. What is pinned comes before
//     all classes, and a day on which it cannot be is refused;
//  2. where the day has a match already: as few packs as can be go elsewhere than before;
//  3. customers of a class share what is short of a product, so that who has least for its
//     weight gets the next pack;
//  4. older stock goes before newer, and of one day what is known to keep less long before the
//     rest;
//  5. farms share what is left of a product, in proportion to what they offered or to their
//     member shares, tilted by what they are ahead or behind in the season;
//  6. packs that are cheaper to carry, to the hub or to the customer's zone, go before dearer; a
//     farm whose cost is not known goes last;
//  7. of lines and lots that are equal in all that, the first by customer, order and product,
//     and by lot code; and what even that leaves open, by a draw from their names, so that one
//     match alone is best.
//
// # Aim after aim
//
// A flow is best exactly when no cycle of its residual network is better, aim before aim: the
// difference of two flows splits into simple cycles, and if each changes the aims for the worse
// or not at all, in the order of the aims, so do all together. A simple cycle passes each node
// once, so that it has at most two arcs at each, and what a pack around it can change one aim by
// is bounded by the dearest arc of each kind and the number of such arcs that fit in a cycle; see
// largestChange. Aims are therefore put into one integer cost as the digits of a number with
// mixed radix, each radix above the largest change of the aims below: a cycle's cost is negative
// exactly if the first aim that it changes gets better.
//
// Where the digits of all aims do not fit into what the solver is exact in, the rest are left to
// further phases. An optimal flow has nothing on arcs of positive reduced cost and fills those of
// negative, and every flow that does so is optimal too (complementary slackness). So the next
// phase sets those arcs to their bounds and is free on the others: it sees exactly the flows that
// are best in all aims before. Two such flows differ by cycles of open arcs: an arc on no cycle has
// no choice and is settled too, so that later phases are small. They see the lines that could still
// gain or lose a pack. Run refuses a day whose costs do not fit even one by one.
//
// # Fair shares
//
// What a customer lacks of a product flows on parallel arcs of rising cost, one pack each: the
// marginal costs of x²/weight, x being the packs that it has. The packs that customers can have
// together, with the value at its best, are the integer points of a network's boundary, an
// M-convex set (Murota, Discrete Convex Analysis, SIAM 2003). On such a set the flow of least
// separable convex cost is the one at which no exchange of one pack between two customers helps,
// which depends only on the order of the marginal costs: ranks stand in for them, compared
// exactly as fractions. With equal weights the answer is decreasingly minimal, that is max-min
// fair: nobody could have a pack more without taking it from somebody who then has less than
// that (Frank and Murota, Decreasing minimization on M-convex sets, Mathematical Programming
// 195, 2022). With weights it is so of x/weight only as far as whole packs allow (Fujishige,
// Lexicographically optimal base of a polymatroid with respect to a weight vector, Mathematics of
// Operations Research 5, 1980, for fractions): a pack goes to who has the least (2x+1)/weight,
// the rule of odd numbers by which seats are given to parties.
//
// A share of more than a few dozen packs has steps of several packs away from where the answer
// lies. Steps are made finer around the answer and the phase is solved again until single packs
// lie on both sides of it: then no exchange of one pack helps, and the cost being convex, nothing
// does. Each round makes the true cost smaller, so that it ends.
//
// What farms have left works the same way, and comes after the age of stock: fairness never sells
// young stock before old, nor takes a pack from a customer.
//
// # Again and again
//
// A Session keeps the network's shape from run to run: what no longer has packs stays in it
// without room. So the solver is told what is otherwise and starts the first phase from where it
// ended. The other phases have little left to choose, most of all where a match before is kept,
// and are solved from nothing. One match alone is best, so it does not matter where one began.
//
// # What a network cannot say
//
// That a line wants so many packs or none is no rule of a network. The network is solved without
// it, which bounds the value that any match can reach; then lines with too few packs are dropped
// and it is solved again, and Proof.Gap tells how far below the bound the match came out. Splits
// are kept down in dealing: which packs of those that flow into a demand go to which of its wants
// makes no difference to any aim, so wants that wish for one farm are dealt first, then the
// largest, each from the smallest piece that suffices. There are never more allocations in a
// demand than pieces and wants less one; Proof.Splits counts them above one for each line.
//
// # Prices
//
// What a pack more of a product would be worth, and a pack fewer cost, are the lengths of
// shortest paths in the residual network, which is exact for one pack in either direction also
// where the optimum is degenerate and the potentials are not unique.
package match
