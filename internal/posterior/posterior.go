// Package posterior averages a fit of the two-state clock over its noise.
//
// The three noise parameters have priors; the posterior is summed over a grid
// about its mode, and every figure is a mixture of Gaussians, one for each
// choice of noise. Plugging in the likeliest noise instead would make intervals
// too narrow, the more so the further ahead.
package posterior

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"timeball/internal/statespace"
)

// Point is a choice of noise in logarithms: σw, σr, κ.
type Point [3]float64

// At returns the point of a choice of noise.
func At(sigmaW, sigmaR, kappa float64) Point {
	return Point{math.Log(sigmaW), math.Log(sigmaR), math.Log(kappa)}
}

// Noise returns the noise of the clock.
func (u Point) Noise() statespace.Noise {
	return statespace.Noise{SigmaW: math.Exp(u[0]), SigmaR: math.Exp(u[1])}
}

// LogPrior is the log density of the noise up to a constant: ln σw about 0.2
// with 1, ln(σr/σw) about 0.13 with 0.7, ln κ about 1 with 0.3. The ratio is
// what is tied, since a bad instrument is bad in both and σr hardly shows in
// a month.
func (u Point) LogPrior() float64 {
	w := u[0] - math.Log(0.2)
	r := (u[1] - u[0] - math.Log(0.13)) / 0.7
	k := u[2] / 0.3
	return -(w*w + r*r + k*k) / 2
}

// priorSlope returns the derivatives of LogPrior.
func (u Point) priorSlope() Point {
	r := (u[1] - u[0] - math.Log(0.13)) / (0.7 * 0.7)
	return Point{math.Log(0.2) - u[0] + r, -r, -u[2] / (0.3 * 0.3)}
}

// Problem is readings with their columns, ready for any noise. The Workspace
// holds what was filtered last.
type Problem struct {
	Series    statespace.Series // its Var is filled in from SD and Aside
	Prior     statespace.Prior
	SD        []float64 // stated, s; the variance of row k is κ²SD²
	Aside     []bool    // rows that are carried along but not used
	Workspace statespace.Workspace
}

// Fit returns the exact posterior at u.
func (p *Problem) Fit(u Point) (statespace.Fit, bool) {
	kappa := math.Exp(u[2])
	for k, sd := range p.SD {
		if p.Aside[k] {
			p.Series.Var[k] = statespace.Missing
		} else {
			p.Series.Var[k] = kappa * kappa * sd * sd
		}
	}
	return p.Workspace.Filter(p.Series, u.Noise(), p.Prior)
}

// logPosterior returns the log posterior density of u up to a constant, -Inf
// where there is no fit.
func (p *Problem) logPosterior(u Point) float64 {
	for _, v := range u {
		if math.Abs(v) > 20 { // far outside any clock, where exp would overflow
			return math.Inf(-1)
		}
	}
	fit, ok := p.Fit(u)
	if !ok {
		return math.Inf(-1)
	}
	return fit.LogLik + u.LogPrior()
}

// Mode returns the noise of the greatest posterior density.
func (p *Problem) Mode() (Point, bool) {
	best, value := At(0.2, 0.026, 1), math.Inf(-1)
	if v := p.logPosterior(best); v > value {
		value = v
	}
	for _, w := range []float64{.05, .2, .8} {
		for _, r := range []float64{.005, .03, .15} {
			if v := p.logPosterior(At(w, r, 1)); v > value {
				best, value = At(w, r, 1), v
			}
		}
	}
	if math.IsInf(value, -1) {
		return best, false
	}
	return climb(best, p.logPosterior, func(u Point) Point {
		slope := p.score()
		for i, v := range u.priorSlope() {
			slope[i] += v
		}
		return slope
	}), true
}

// score returns the slope of the log-likelihood where it was last computed.
func (p *Problem) score() (slope Point) {
	slope[0], slope[1], slope[2] = p.Workspace.Score()
	return slope
}

// climb returns the place of the maximum of f near u by quasi-Newton steps
// (Broyden, Fletcher, Goldfarb and Shanno), each shortened until it climbs;
// slope is called only where f was called last.
func climb(u Point, f func(Point) float64, slope func(Point) Point) Point {
	value := f(u)
	g := slope(u)
	inverse, ok := curvatureAt(u, g, f, slope)
	if !ok {
		return u
	}
	for range 100 {
		step := times(inverse, g)
		gain := dot(step, g)
		if !(gain > 1e-9) {
			return u
		}
		length := math.Min(1, 2/math.Sqrt(dot(step, step)))
		next, nextValue := u, math.Inf(-1)
		for ; length > 1e-4; length /= 3 {
			for i := range next {
				next[i] = u[i] + length*step[i]
			}
			if nextValue = f(next); nextValue > value+1e-4*length*gain {
				break
			}
		}
		if !(nextValue > value) {
			return u
		}
		nextG := slope(next)
		inverse = updated(inverse, difference(next, u), difference(g, nextG))
		u, value, g = next, nextValue, nextG
	}
	return u
}

// curvatureAt returns the inverse of minus the second derivatives at u, from
// differences of the slope g, with weak directions held to leastCurve.
func curvatureAt(u, g Point, f func(Point) float64, slope func(Point) Point) ([3]Point, bool) {
	const h = 0.02
	curve := mat.NewSymDense(3, nil)
	var rows [3]Point
	for i := range 3 {
		v := u
		v[i] += h
		if math.IsInf(f(v), 0) {
			return [3]Point{}, false
		}
		rows[i] = difference(g, slope(v))
	}
	for i := range 3 {
		for j := i; j < 3; j++ {
			v := (rows[i][j] + rows[j][i]) / (2 * h)
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return [3]Point{}, false
			}
			curve.SetSym(i, j, v)
		}
	}
	axes, ok := principal(curve)
	var inverse [3]Point
	for _, a := range axes {
		for i := range 3 {
			for j := range 3 {
				inverse[i][j] += a[i] * a[j]
			}
		}
	}
	return inverse, ok
}

// updated returns the inverse curvature after a step along which the slope
// fell by fall.
func updated(inverse [3]Point, step, fall Point) [3]Point {
	sy := dot(step, fall)
	if sy <= 1e-12 {
		return inverse
	}
	hy := times(inverse, fall)
	c := (1 + dot(fall, hy)/sy) / sy
	for i := range 3 {
		for j := range 3 {
			inverse[i][j] += c*step[i]*step[j] - (hy[i]*step[j]+step[i]*hy[j])/sy
		}
	}
	return inverse
}

func dot(a, b Point) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

func difference(a, b Point) Point { return Point{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func times(m [3]Point, v Point) Point { return Point{dot(m[0], v), dot(m[1], v), dot(m[2], v)} }

// Node is one choice of noise with its share of the posterior.
type Node struct {
	Weight float64
	At     Point
	Fit    statespace.Fit
}

// Says returns the part of a Mixture that an estimate at the node makes.
func (n Node) Says(mean, variance float64) Gaussian {
	return Gaussian{Weight: n.Weight, Mean: mean, SD: math.Sqrt(max(variance, 0))}
}

// The quadrature: a grid of steps along the axes of the Hessian at the mode.
const (
	nodeStep    = 0.9
	leastWeight = 1e-5
	hessianStep = 0.1
	leastCurve  = 0.5
)

var nodeReach = [3]int{3, 3, 2} // steps each way: 7 × 7 × 5

// Nodes averages over the noise: it returns the choices that carry weight, the
// weights adding up to one.
func (p *Problem) Nodes(mode Point) ([]Node, bool) {
	curve, ok := curvature(p.logPosterior, mode)
	if !ok {
		return nil, false
	}
	axes, ok := principal(curve)
	if !ok {
		return nil, false
	}
	var all []Node
	most := math.Inf(-1)
	for i := -nodeReach[0]; i <= nodeReach[0]; i++ {
		for j := -nodeReach[1]; j <= nodeReach[1]; j++ {
			for k := -nodeReach[2]; k <= nodeReach[2]; k++ {
				u := mode
				for a := range u {
					u[a] += nodeStep * (float64(i)*axes[0][a] + float64(j)*axes[1][a] + float64(k)*axes[2][a])
				}
				fit, ok := p.Fit(u)
				if !ok {
					continue
				}
				n := Node{Weight: fit.LogLik + u.LogPrior(), At: u, Fit: fit}
				most = max(most, n.Weight)
				all = append(all, n)
			}
		}
	}
	total := 0.0
	for i := range all {
		all[i].Weight = math.Exp(all[i].Weight - most)
		total += all[i].Weight
	}
	kept, sum := all[:0], 0.0
	for _, n := range all {
		if n.Weight/total >= leastWeight {
			kept = append(kept, n)
			sum += n.Weight
		}
	}
	for i := range kept {
		kept[i].Weight /= sum
	}
	return kept, len(kept) > 0
}

// curvature returns minus the second derivatives of f at u by central
// differences wide enough to see the shape and not the foot of the peak; false
// where f has no value.
func curvature(f func(Point) float64, u Point) (curve *mat.SymDense, ok bool) {
	const h = hessianStep
	value := f(u)
	at := func(i int, a float64, j int, b float64) float64 {
		v := u
		v[i] += a
		v[j] += b
		return f(v)
	}
	curve = mat.NewSymDense(3, nil)
	ok = true
	for i := range 3 {
		curve.SetSym(i, i, -(at(i, h, i, 0)-2*value+at(i, -h, i, 0))/(h*h))
		for j := i + 1; j < 3; j++ {
			curve.SetSym(i, j, -(at(i, h, j, h)-at(i, h, j, -h)-at(i, -h, j, h)+at(i, -h, j, -h))/(4*h*h))
		}
		for j := i; j < 3; j++ {
			v := curve.At(i, j)
			ok = ok && !math.IsNaN(v) && !math.IsInf(v, 0)
		}
	}
	return curve, ok
}

// principal returns the axes of a curvature, each as long as one standard
// deviation, the widest first.
func principal(curve *mat.SymDense) ([3]Point, bool) {
	var eigen mat.EigenSym
	if !eigen.Factorize(curve, true) {
		return [3]Point{}, false
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	var axes [3]Point
	for a, w := range eigen.Values(nil) {
		length := 1 / math.Sqrt(math.Max(w, leastCurve))
		for i := range 3 {
			axes[a][i] = vectors.At(i, a) * length
		}
	}
	return axes, true
}
