package posterior

import (
	"cmp"
	"math"
	"slices"
)

// Interval is an estimate with its doubt: mean, standard deviation and the
// central 95% interval, which need not be symmetric.
type Interval struct {
	Mean, SD, Lo95, Hi95 float64
}

// Half returns the greater half width of the 95% interval.
func (i Interval) Half() float64 { return max(i.Hi95-i.Mean, i.Mean-i.Lo95) }

// Plus returns the interval moved by s.
func (i Interval) Plus(s float64) Interval {
	return Interval{Mean: i.Mean + s, SD: i.SD, Lo95: i.Lo95 + s, Hi95: i.Hi95 + s}
}

// Widen adds an independent doubt of standard deviation s to the interval.
func (i *Interval) Widen(s float64) {
	const normal95 = 1.959964
	i.Lo95 = i.Mean - math.Hypot(i.Mean-i.Lo95, normal95*s)
	i.Hi95 = i.Mean + math.Hypot(i.Hi95-i.Mean, normal95*s)
	i.SD = math.Hypot(i.SD, s)
}

// Mixture is a weighted sum of Gaussians: what averaging over the noise gives.
type Mixture []Gaussian

// Gaussian is one part of a Mixture.
type Gaussian struct{ Weight, Mean, SD float64 }

// Interval returns mean, standard deviation and central 95% interval.
func (m Mixture) Interval() Interval {
	var i Interval
	total := 0.0
	for _, g := range m {
		total += g.Weight
		i.Mean += g.Weight * g.Mean
	}
	i.Mean /= total
	for _, g := range m {
		d := g.Mean - i.Mean
		i.SD += g.Weight * (g.SD*g.SD + d*d)
	}
	i.SD = math.Sqrt(i.SD / total)
	i.Lo95 = m.quantile(0.025, i.Mean-1.96*i.SD, i.SD)
	i.Hi95 = m.quantile(0.975, i.Mean+1.96*i.SD, i.SD)
	return i
}

// below returns the distribution function and the density at x.
func (m Mixture) below(x float64) (p, density float64) {
	total := 0.0
	for _, g := range m {
		total += g.Weight
		if g.SD == 0 {
			if x >= g.Mean {
				p += g.Weight
			}
			continue
		}
		z := (x - g.Mean) / g.SD
		p += g.Weight * 0.5 * math.Erfc(-z/math.Sqrt2)
		density += g.Weight * math.Exp(-z*z/2) / (g.SD * math.Sqrt(2*math.Pi))
	}
	return p / total, density / total
}

// quantile returns x with P(X < x) = p: Newton's steps, held within a bracket
// that bisection narrows.
func (m Mixture) quantile(p, guess, scale float64) float64 {
	if scale == 0 {
		return guess
	}
	lo, hi := guess-scale, guess+scale
	for range 60 {
		if q, _ := m.below(lo); q < p {
			break
		}
		lo -= 2 * (hi - lo)
	}
	for range 60 {
		if q, _ := m.below(hi); q > p {
			break
		}
		hi += 2 * (hi - lo)
	}
	x := guess
	for range 200 {
		q, density := m.below(x)
		if q < p {
			lo = x
		} else {
			hi = x
		}
		next := x - (q-p)/density
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-x) < 1e-9*scale || hi-lo < 1e-9*scale {
			return next
		}
		x = next
	}
	return x
}

// TwoSided returns 2·min(P(X < 0), P(X > 0)).
func (m Mixture) TwoSided() float64 {
	p, _ := m.below(0)
	return 2 * math.Min(p, 1-p)
}

// Weighed is one value and its share.
type Weighed struct{ Value, Weight float64 }

// Spread returns mean, standard deviation and central 95% interval of values
// that are each taken as they stand, in proportion between them.
func Spread(values []Weighed) Interval {
	var i Interval
	total := 0.0
	for _, v := range values {
		total += v.Weight
		i.Mean += v.Weight * v.Value
	}
	i.Mean /= total
	for _, v := range values {
		i.SD += v.Weight * (v.Value - i.Mean) * (v.Value - i.Mean)
	}
	i.SD = math.Sqrt(i.SD / total)
	slices.SortFunc(values, func(a, b Weighed) int { return cmp.Compare(a.Value, b.Value) })
	at := func(p float64) float64 {
		below, last, lastP := 0.0, values[0].Value, 0.0
		for _, v := range values {
			middle := (below + v.Weight/2) / total
			if middle >= p {
				if middle == lastP {
					return v.Value
				}
				return last + (v.Value-last)*(p-lastP)/(middle-lastP)
			}
			below += v.Weight
			last, lastP = v.Value, middle
		}
		return last
	}
	i.Lo95, i.Hi95 = at(0.025), at(0.975)
	return i
}
