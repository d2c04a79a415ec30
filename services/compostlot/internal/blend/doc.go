// Package blend owns recipes of compost: what a mix of ingredients holds,
// how much of one ingredient, or of water, reaches a goal, and the cheapest
// mix within goals and stock.
//
// Masses are whole grams and money whole minor units. Contents are per cent:
// moisture of wet mass, nitrogen, carbon and ash of dry mass. Everything is
// reckoned from masses of water, dry matter, nitrogen and carbon; ratios are
// never averaged, because a mean of C:N ratios is wrong wherever nitrogen
// contents differ.
package blend
