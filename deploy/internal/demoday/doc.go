// Package demoday owns the demonstration: one day of a co-op, run through the real services
// and told in tables. On the afternoon before the day compost is shared out and the match is
// run and confirmed; in the morning the day's picks are recorded, packs leave the farms and
// reach the kitchens, and one pack is traced back to its yard and its compost forward again.
package demoday
