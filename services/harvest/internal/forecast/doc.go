// Package forecast owns the break forecast of one crop: how many grams a room
// will bear on each of the coming days, with honest uncertainty, corrected by
// every pick that was recorded and by every stage date that really happened.
//
// # The curve
//
// A crop bears in breaks. Break k (1, 2, …) begins at time s_k, is picked over
// w_k days and bears A_k grams. The share of the break that is ready on day t is
//
//	g_k(t) = F((t+1−s_k)/L_k) − F((t−s_k)/L_k),   L_k = 1.6 w_k
//
// where F is the distribution function of Beta(2, 4) on [0, 1]: a hump that
// rises faster than it falls, with 94 % of it inside the w_k days and the rest
// as stragglers. The shape is common practice, no source; published work only
// says that yield oscillates (Chanter 1979, J. Gen. Microbiol. 115:79–87). Days
// count from filling, which is day 0.
//
//	s_1     = day of the latest stage reached + its lag to the first pick
//	s_{k+1} = s_k + μ_I + σ_I (√ρ u + √(1−ρ) v_k)      u, v_k standard normal
//	log A_k = log Y + log share_k + b_k,  b_k ~ N(0, σ_b²),  log Y ~ N(log Ŷ, σ_Y²)
//
// u is the crop's own pace: a room that runs slow keeps running slow. Y is the
// whole yield. All figures come from a Profile, in which each is a Range with
// its source. A Range names the 5 %, most likely and 95 % values; timing is
// drawn from the two-piece normal through them, yield from a lognormal.
//
// # Learning from picks
//
// A pick of y grams is read on the scale log(y + c), c being a small part of
// the first break, so that a day without mushrooms is an observation like any
// other (a day without a record is none; of a day that is not over, what was
// picked so far is the least it bears, so only hypotheses under which less came
// lose by it):
//
//	log(y + c) = log(A_k g_k(t) + c) + e,   Var e = (σ_d h)² + σ_0²,   h = A g/(A g + c)
//
// Given the timing, sizes are Gaussian, so their posterior is the conjugate
// one: a Kalman update of the pair (log Y, log A_k) with slope h. Timing is not
// conjugate; it is carried by an ensemble whose members are weighted by the
// Student-t likelihood of each pick (heavy tails, so that one odd day does not
// decide) and resampled when the effective number of members falls below half
// (a Rao-Blackwellised particle filter: Doucet, de Freitas, Murphy and Russell
// 2000, UAI, "Rao-Blackwellised particle filtering for dynamic Bayesian
// networks"; regularised by a small jitter of the timing as in Musso, Oudjane
// and Le Gland 2001; both from memory).
//
// # Answer
//
// Members are then run forward; the quantiles of a day are the ensemble's. The
// ensemble is seeded by the crop, so the same crop gives the same answer, in
// whatever order its picks are handed over.
package forecast
