// Package fusion owns the figure in use for a day: the grower's push and the
// break forecast, each corrected for how it has erred so far, combined by how
// precise each has proved to be.
//
// All work is on the scale x = log(grams + c), c being a floor near 2 % of a
// good day, so that being a third too high weighs alike in a small room and a
// large one, and a zero is a number like others.
//
// # Correcting one source
//
// A source (the grower, or the forecast) has said low, likely and high for past
// days; e_i = log(actual_i + c) − log(likely_i + c) is what it missed by, and
// s_i = (log(high_i + c) − log(low_i + c))/(2 × 1.2816) is the standard
// deviation its 80 % band claimed. Its bias b and its spread factor κ (how many
// times larger its errors are than claimed) are estimated with the co-op's own
// figures as prior (empirical Bayes; the normal mean with known variance and
// the scaled inverse-χ² variance of Gelman et al., Bayesian Data Analysis, §2.5
// and §2.6, from memory):
//
//	b  = (n₀ b₀ + Σ ω_i e_i)/(n₀ + Σ ω_i)
//	κ² = (ν₀ κ₀² + Σ ω_i (e_i − b)²/s_i²)/(ν₀ + Σ ω_i)
//
// b₀ and κ₀ are what all the co-op's growers (or crops) show together; n₀ and ν₀
// say how many days of a grower's own they are worth. ω_i = ½^(age/half-life)
// lets old days fade, and one odd day counts for at most three of its claimed
// standard deviations. Corrected, the source says N(x + b, κ² s²).
//
// # Combining
//
// With errors of standard deviation σ₁ and σ₂ that correlate by ρ, the linear
// combination of least variance is
//
//	w₁ = (σ₂² − ρσ₁σ₂)/(σ₁² + σ₂² − 2ρσ₁σ₂),   w₂ = 1 − w₁
//	σ² = σ₁²σ₂²(1 − ρ²)/(σ₁² + σ₂² − 2ρσ₁σ₂)
//
// (Bates and Granger 1969, Operational Research Quarterly 20:451–468). With
// ρ = 0 this is weighting by the inverse variance (Taylor, An Introduction to
// Error Analysis, ch. 7). Both sources miss the same odd days, so ρ is above 0;
// it is held within 0 to 0.8 and both weights within 0 to 1.
package fusion
