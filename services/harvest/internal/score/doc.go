// Package score owns how good a figure was: it compares what was expected with
// what was picked, for a grower, for the forecast and for the figure in use,
// beside a seasonal naive one.
//
// Scores on points are in grams: bias (mean of expected − actual), mean
// absolute error, and the mean absolute scaled error, which divides that by the
// in-sample mean absolute error of the seasonal naive figure (Hyndman and
// Koehler 2006, International Journal of Forecasting 22:679–688).
//
// Scores on distributions are proper: none can be bettered by saying what one
// does not believe. They are the pinball loss of a quantile (Koenker and
// Bassett 1978, Econometrica 46:33–50), the continuous ranked probability score
// in its closed form for the normal, its form for an ensemble and its form from
// quantiles, and the interval score of a central band (Gneiting and Raftery
// 2007, Journal of the American Statistical Association 102:359–378).
//
// Floats here are scores, never quantities that anyone sells: grams go in as
// whole numbers.
package score
