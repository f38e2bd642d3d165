package rating

import "math"

// Law is a rate as a function of temperature: Rate + Linear·u + Quadratic·u²,
// u in °C above ReferenceC, all in s/d, positive gaining. The German form g0,
// a, b about 15 °C has the opposite sign (Stechert (1894), §44).
type Law struct {
	ReferenceC, Rate, Linear, Quadratic float64
}

// At returns the rate at c °C, s/d.
func (l Law) At(c float64) float64 {
	u := c - l.ReferenceC
	return l.Rate + l.Linear*u + l.Quadratic*u*u
}

// About returns the same law about another temperature.
func (l Law) About(c float64) Law {
	u := c - l.ReferenceC
	return Law{ReferenceC: c, Rate: l.At(c), Linear: l.Linear + 2*l.Quadratic*u, Quadratic: l.Quadratic}
}

// Extreme returns the temperature at which the rate is greatest or least and
// the rate there; it returns false for a straight law.
func (l Law) Extreme() (c, rate float64, ok bool) {
	if l.Quadratic == 0 {
		return 0, 0, false
	}
	c = l.ReferenceC - l.Linear/(2*l.Quadratic)
	return c, l.At(c), true
}

// FitLaw returns the law of least squares through mean rates at temperatures,
// about ReferenceC, and the standard deviation of one rate about it (0 for
// three). It returns false for fewer than three rates or three temperatures.
func FitLaw(c, rates []float64) (law Law, sd float64, ok bool) {
	if len(c) != len(rates) {
		panic("rating: temperatures and rates do not match")
	}
	var m [3][4]float64
	for k, t := range c {
		u := t - ReferenceC
		row := [3]float64{1, u, u * u}
		for i := range 3 {
			for j := range 3 {
				m[i][j] += row[i] * row[j]
			}
			m[i][3] += row[i] * rates[k]
		}
	}
	for i := range 3 {
		pivot := i
		for j := i + 1; j < 3; j++ {
			if math.Abs(m[j][i]) > math.Abs(m[pivot][i]) {
				pivot = j
			}
		}
		m[i], m[pivot] = m[pivot], m[i]
		if len(c) < 3 || math.Abs(m[i][i]) < 1e-9 {
			return Law{}, 0, false
		}
		for j := range 3 {
			if j == i {
				continue
			}
			f := m[j][i] / m[i][i]
			for k := i; k < 4; k++ {
				m[j][k] -= f * m[i][k]
			}
		}
	}
	law = Law{ReferenceC: ReferenceC, Rate: m[0][3] / m[0][0], Linear: m[1][3] / m[1][1], Quadratic: m[2][3] / m[2][2]}
	sum := 0.0
	for k, t := range c {
		sum += math.Pow(rates[k]-law.At(t), 2)
	}
	if len(c) > 3 {
		sd = math.Sqrt(sum / float64(len(c)-3))
	}
	return law, sd, true
}
