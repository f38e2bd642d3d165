package rating

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
