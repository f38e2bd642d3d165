// Package rating turns the comparisons of one instrument and what was done to
// it into its error, its rate and its forecast, each with its doubt.
//
// The model: dx = (r + Σ βj fj(t)) dt + σw dW1, dr = σr dW2, and a reading
// y_k = x(t_k) + κ s_k ε_k, where x is dial minus UTC in seconds, r the rate
// in s/d and t elapsed SI days. White frequency noise σw (s/√d) and
// random-walk frequency noise σr ((s/d)/√d) are those of Zucca and Tavella,
// The clock model and its relationship with the Allan and related variances,
// IEEE Trans. UFFC 52 (2005) 289–296. Everything deterministic, such as
// temperature, position, steps and changes of rate, is a regression column with
// its prior. The likelihood is exact for flat priors (de Jong, The diffuse
// Kalman filter, Ann. Statist. 19 (1991) 1073–1083), and σw, σr and κ are
// averaged over, not plugged in, so that an interval from few comparisons
// holds what it claims.
//
// Blunders are set aside, never corrected, at fixed noise so that a large one
// cannot hide itself or others.
package rating
