// Package shelflife owns how long picked mushrooms keep at a temperature, which
// lot goes out first, how much heat a cold store must take away, and when a
// store is out of its range.
//
// Life by temperature is a table of published points. Between two points of a
// table, the logarithm of life runs straight; below the coldest point, life is
// that point's; above the warmest, it falls by the factor 2.9 for each 10 °C,
// as respiration rises between 10 and 20 °C in the table of UC Davis
// Postharvest. Sources disagree widely, so where several speak of a product the
// shortest life counts.
//
// A lot that has been at several temperatures has used up the sum of
// hours/life(temperature) of its life.
//
// Temperatures are tenths of a degree Celsius. Whether a lot is fit to be sold is
// decided by the people who look at it and by the local food authority, not by
// these figures.
package shelflife
