// Package demand owns the forecast of what customers will want: grams of one
// product for each week ahead.
//
// A week's demand is what standing orders ask for plus loose orders. Standing
// orders are known; loose orders are forecast from history by exponential
// smoothing with additive components (level; level and damped trend; level,
// damped trend and season), in the form of NIST/SEMATECH e-Handbook of
// Statistical Methods 6.4.3 with a damping factor on the trend (Gardner and
// McKenzie 1985, Management Science 31:1237-1246):
//
//	level_t  = α (y_t - season_{t-m}) + (1-α)(level_{t-1} + φ trend_{t-1})
//	trend_t  = β (level_t - level_{t-1}) + (1-β) φ trend_{t-1}
//	season_t = γ (y_t - level_t) + (1-γ) season_{t-m}
//	forecast of t+h = level_t + (φ + … + φ^h) trend_t + season of that week
//
// The constants are fitted to the smallest mean squared error one week ahead. A
// missing week is missing, never zero: it moves nothing.
//
// Marked holidays: the effect of a holiday is the geometric mean of its past
// weeks over their neighbours, drawn towards 1 as one more occurrence without
// effect would. Past holiday weeks are freed of it before smoothing and future
// ones given it again.
//
// Every method is scored by forecasting the last weeks of the history from what
// was known before each, beside the seasonal naive forecast (the same week a year
// before); the method with the smallest mean absolute scaled error (Hyndman and
// Koehler 2006, International Journal of Forecasting 22:679-688) is used, the
// plainer one of equals. So a forecast that cannot beat seasonal naive is not
// used.
//
// Forecasting is done in floating point; grams come out as whole numbers. The
// package is pure and deterministic: no clock, no chance, no database.
package demand
