package rating

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"timeball/internal/statespace"
)

// point is a choice of noise in logarithms: σw, σr, κ.
type point [3]float64

func at(sigmaW, sigmaR, kappa float64) point {
	return point{math.Log(sigmaW), math.Log(sigmaR), math.Log(kappa)}
}

func (u point) noise() statespace.Noise {
	return statespace.Noise{SigmaW: math.Exp(u[0]), SigmaR: math.Exp(u[1])}
}

// logPrior is the log density of the noise up to a constant: ln σw about 0.2
// with 1, ln(σr/σw) about 0.13 with 0.7, ln κ about 1 with 0.3. The ratio is
// what is tied, since a bad instrument is bad in both and σr hardly shows in
// a month.
func (u point) logPrior() float64 {
	w := u[0] - math.Log(0.2)
	r := (u[1] - u[0] - math.Log(0.13)) / 0.7
	k := u[2] / 0.3
	return -(w*w + r*r + k*k) / 2
}

// problem is the readings in use with their columns, ready for any noise.
type problem struct {
	series statespace.Series
	prior  statespace.Prior
	sd     []float64 // stated, s; the variance of row k is κ²sd²
	aside  []bool    // rows that are carried along but not used
	ws     statespace.Workspace
}

// fit returns the exact posterior at u.
func (p *problem) fit(u point) (statespace.Fit, bool) {
	kappa := math.Exp(u[2])
	for k, sd := range p.sd {
		if p.aside[k] {
			p.series.Var[k] = statespace.Missing
		} else {
			p.series.Var[k] = kappa * kappa * sd * sd
		}
	}
	return p.ws.Filter(p.series, u.noise(), p.prior)
}

// logPosterior returns the log posterior density of u up to a constant, -Inf
// where there is no fit.
func (p *problem) logPosterior(u point) float64 {
	for _, v := range u {
		if math.Abs(v) > 20 { // far outside any clock, where exp would overflow
			return math.Inf(-1)
		}
	}
	fit, ok := p.fit(u)
	if !ok {
		return math.Inf(-1)
	}
	return fit.LogLik + u.logPrior()
}

// mode returns the noise of the greatest posterior density.
func (p *problem) mode() (point, bool) {
	best, value := at(0.2, 0.026, 1), math.Inf(-1)
	if v := p.logPosterior(best); v > value {
		value = v
	}
	for _, w := range []float64{.05, .2, .8} {
		for _, r := range []float64{.005, .03, .15} {
			if v := p.logPosterior(at(w, r, 1)); v > value {
				best, value = at(w, r, 1), v
			}
		}
	}
	if math.IsInf(value, -1) {
		return best, false
	}
	return climb(best, p.logPosterior), true
}

// climb returns the place of the maximum of f near u by Newton's steps, each
// shortened until it climbs.
func climb(u point, f func(point) float64) point {
	value := f(u)
	for range 60 {
		slope, curve, ok := derivatives(f, u, value)
		if !ok {
			return u
		}
		axes, ok := principal(curve)
		if !ok {
			return u
		}
		var step point
		gain := 0.0
		for _, a := range axes {
			along := a[0]*slope[0] + a[1]*slope[1] + a[2]*slope[2]
			gain += along * along
			for i := range step {
				step[i] += along * a[i]
			}
		}
		if gain < 1e-7 {
			return u
		}
		climbed := false
		for length := math.Min(1, 2/math.Sqrt(gain)); length > 1e-3; length /= 2 {
			next := u
			for i := range next {
				next[i] += length * step[i]
			}
			if v := f(next); v > value {
				u, value, climbed = next, v, true
				break
			}
		}
		if !climbed {
			return u
		}
	}
	return u
}

// node is one choice of noise with its share of the posterior.
type node struct {
	weight float64
	u      point
	fit    statespace.Fit
}

// The quadrature: a grid of steps along the axes of the Hessian at the mode.
const (
	nodeStep    = 0.9
	leastWeight = 1e-5
	hessianStep = 0.1
	leastCurve  = 0.5
)

var nodeReach = [3]int{3, 3, 2} // steps each way: 7 × 7 × 5

// nodes averages over the noise: it returns the choices that carry weight, the
// weights adding up to one.
func (p *problem) nodes(mode point) ([]node, bool) {
	_, curve, ok := derivatives(p.logPosterior, mode, p.logPosterior(mode))
	if !ok {
		return nil, false
	}
	axes, ok := principal(curve)
	if !ok {
		return nil, false
	}
	var all []node
	most := math.Inf(-1)
	for i := -nodeReach[0]; i <= nodeReach[0]; i++ {
		for j := -nodeReach[1]; j <= nodeReach[1]; j++ {
			for k := -nodeReach[2]; k <= nodeReach[2]; k++ {
				u := mode
				for a := range u {
					u[a] += nodeStep * (float64(i)*axes[0][a] + float64(j)*axes[1][a] + float64(k)*axes[2][a])
				}
				fit, ok := p.fit(u)
				if !ok {
					continue
				}
				n := node{weight: fit.LogLik + u.logPrior(), u: u, fit: fit}
				most = max(most, n.weight)
				all = append(all, n)
			}
		}
	}
	total := 0.0
	for i := range all {
		all[i].weight = math.Exp(all[i].weight - most)
		total += all[i].weight
	}
	kept, sum := all[:0], 0.0
	for _, n := range all {
		if n.weight/total >= leastWeight {
			kept = append(kept, n)
			sum += n.weight
		}
	}
	for i := range kept {
		kept[i].weight /= sum
	}
	return kept, len(kept) > 0
}

// derivatives returns the slope of f at u, where it is value, and minus its
// second derivatives, by central differences; false where f has no value.
func derivatives(f func(point) float64, u point, value float64) (slope point, curve *mat.SymDense, ok bool) {
	const h = hessianStep
	at := func(i int, a float64, j int, b float64) float64 {
		v := u
		v[i] += a
		v[j] += b
		return f(v)
	}
	curve = mat.NewSymDense(3, nil)
	finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
	ok = true
	for i := range 3 {
		up, down := at(i, h, i, 0), at(i, -h, i, 0)
		slope[i] = (up - down) / (2 * h)
		curve.SetSym(i, i, -(up-2*value+down)/(h*h))
		for j := i + 1; j < 3; j++ {
			curve.SetSym(i, j, -(at(i, h, j, h)-at(i, h, j, -h)-at(i, -h, j, h)+at(i, -h, j, -h))/(4*h*h))
		}
		for j := i; j < 3; j++ {
			ok = ok && finite(slope[i]) && finite(curve.At(i, j))
		}
	}
	return slope, curve, ok
}

// principal returns the axes of a curvature, each as long as one standard
// deviation, the widest first.
func principal(curve *mat.SymDense) ([3]point, bool) {
	var eigen mat.EigenSym
	if !eigen.Factorize(curve, true) {
		return [3]point{}, false
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	var axes [3]point
	for a, w := range eigen.Values(nil) {
		length := 1 / math.Sqrt(math.Max(w, leastCurve))
		for i := range 3 {
			axes[a][i] = vectors.At(i, a) * length
		}
	}
	return axes, true
}
