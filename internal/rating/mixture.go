package rating

import (
	"cmp"
	"math"
	"slices"
)

// mixture is a weighted sum of Gaussians: what averaging over the noise gives.
type mixture []gaussian

type gaussian struct{ weight, mean, sd float64 }

// interval returns mean, standard deviation and central 95% interval.
func (m mixture) interval() Interval {
	var i Interval
	total := 0.0
	for _, g := range m {
		total += g.weight
		i.Mean += g.weight * g.mean
	}
	i.Mean /= total
	for _, g := range m {
		d := g.mean - i.Mean
		i.SD += g.weight * (g.sd*g.sd + d*d)
	}
	i.SD = math.Sqrt(i.SD / total)
	i.Lo95 = m.quantile(0.025, i.Mean-1.96*i.SD, i.SD)
	i.Hi95 = m.quantile(0.975, i.Mean+1.96*i.SD, i.SD)
	return i
}

// below returns the distribution function and the density at x.
func (m mixture) below(x float64) (p, density float64) {
	total := 0.0
	for _, g := range m {
		total += g.weight
		if g.sd == 0 {
			if x >= g.mean {
				p += g.weight
			}
			continue
		}
		z := (x - g.mean) / g.sd
		p += g.weight * 0.5 * math.Erfc(-z/math.Sqrt2)
		density += g.weight * math.Exp(-z*z/2) / (g.sd * math.Sqrt(2*math.Pi))
	}
	return p / total, density / total
}

// quantile returns x with P(X < x) = p: Newton's steps, held within a bracket
// that bisection narrows.
func (m mixture) quantile(p, guess, scale float64) float64 {
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

// twoSided returns 2·min(P(X < 0), P(X > 0)).
func (m mixture) twoSided() float64 {
	p, _ := m.below(0)
	return 2 * math.Min(p, 1-p)
}

// weighed is one value and its share.
type weighed struct{ value, weight float64 }

// spread returns mean, standard deviation and central 95% interval of values
// that are each taken as they stand, in proportion between them.
func spread(values []weighed) Interval {
	var i Interval
	total := 0.0
	for _, v := range values {
		total += v.weight
		i.Mean += v.weight * v.value
	}
	i.Mean /= total
	for _, v := range values {
		i.SD += v.weight * (v.value - i.Mean) * (v.value - i.Mean)
	}
	i.SD = math.Sqrt(i.SD / total)
	slices.SortFunc(values, func(a, b weighed) int { return cmp.Compare(a.value, b.value) })
	at := func(p float64) float64 {
		below, last, lastP := 0.0, values[0].value, 0.0
		for _, v := range values {
			middle := (below + v.weight/2) / total
			if middle >= p {
				if middle == lastP {
					return v.value
				}
				return last + (v.value-last)*(p-lastP)/(middle-lastP)
			}
			below += v.weight
			last, lastP = v.value, middle
		}
		return last
	}
	i.Lo95, i.Hi95 = at(0.025), at(0.975)
	return i
}
