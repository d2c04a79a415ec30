// Package hygiene owns the order in which rooms are visited, when a pest is
// worth controlling, when a treated room may be entered and picked again, and
// the cautions that go with all of it.
//
// The order carries spores, mites and flies the least way: from the youngest
// rooms to the oldest, and to infected rooms last (A. Sonnenberg, Wageningen UR,
// Hygiene in mushroom cultivation, slides; "infected last" also Infonet-
// Biovision).
//
// A pest is worth controlling when what it is expected to cost exceeds what the
// control costs: the economic threshold. Figures come from the sources named
// beside them. Labels, local codes and licensed practice decide what may be
// used, when, and by whom.
package hygiene
