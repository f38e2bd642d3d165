package simulate

import (
	"math"
	"math/rand/v2"
)

// Noise is the random part of an instrument's going. Both figures are of one
// day.
type Noise struct {
	SigmaW float64 // white noise of the rate, s/√d: the scatter of one day's rate
	SigmaR float64 // random walk of the rate, (s/d)/√d
}

// Step returns error and rate after days of going from errorS (s) and rate
// (s/d). The step is exact for any length: its increments have the covariance
// [[σw²d + σr²d³/3, σr²d²/2], [σr²d²/2, σr²d]] of Zucca and Tavella (2005).
// Nothing changes if days is not positive.
func (n Noise) Step(rng *rand.Rand, errorS, rate, days float64) (float64, float64) {
	if days <= 0 {
		return errorS, rate
	}
	root := math.Sqrt(days)
	walk := n.SigmaR * root * rng.NormFloat64()
	// Given its end, the path of the random walk has an integral of mean
	// walk·d/2 and of variance σr²d³/12.
	errorS += rate*days + walk*days/2 + n.SigmaR*days*math.Sqrt(days/12)*rng.NormFloat64() + n.SigmaW*root*rng.NormFloat64()
	return errorS, rate + walk
}

// logUniform returns a number from lo to hi whose logarithm is uniform.
func logUniform(rng *rand.Rand, lo, hi float64) float64 {
	return lo * math.Exp(rng.Float64()*math.Log(hi/lo))
}
