package noise

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"timeball/internal/together/rounds"
)

// The prior of ln σw² and of ln (σr/σw)²: median 0.2 s/√d and 0.13, log
// standard deviations 1 and 0.7. It is that of the rating of one instrument.
var (
	priorMean = [2]float64{2 * math.Log(0.2), 2 * math.Log(0.13)}
	priorSD   = [2]float64{2 * 1, 2 * 0.7}
)

// posterior returns minus the log posterior of theta up to a constant, and if
// asked for its gradient and expected second derivatives.
func (f *Fit) posterior(terms []term, l Leave, theta, grad []float64, info *mat.SymDense) float64 {
	sum := prior(theta, grad, info)
	for k := range terms {
		if tm := &terms[k]; !l.out(tm) {
			sum += f.likelihood(tm, theta, grad, info)
		}
	}
	return sum
}

// prior returns the part of the prior, and sets grad and info to it.
func prior(theta, grad []float64, info *mat.SymDense) float64 {
	sum := 0.0
	if grad != nil {
		info.Zero()
	}
	for i := range theta {
		sd := priorSD[i%2]
		z := (theta[i] - priorMean[i%2]) / sd
		sum += z * z / 2
		if grad != nil {
			grad[i] = z / sd
			info.SetSym(i, i, 1/(sd*sd))
		}
	}
	return sum
}

// likelihood returns the part of one term, and adds its own to grad and info.
func (f *Fit) likelihood(tm *term, theta, grad []float64, info *mat.SymDense) float64 {
	// Of each member: weight, the parts of its variance that both noises and
	// that wandering make, and its departure from the mean.
	var w, both, wander, dev [rounds.MaxInstruments + 1]float64
	total, mean, logs := 0.0, 0.0, 0.0
	for i, p := range tm.member {
		v := 0.0
		if at := f.at[p]; at >= 0 {
			a := math.Exp(theta[at])
			b := math.Exp(theta[at+1]) * a * tm.wander
			a *= tm.white
			v = a + b + tm.reading[i]
			both[i], wander[i] = (a+b)/v, b/v
		} else {
			q := f.Noise[p]
			v = q.SigmaW*q.SigmaW*tm.white + q.SigmaR*q.SigmaR*tm.wander + tm.reading[i]
		}
		w[i] = 1 / v
		total += w[i]
		mean += w[i] * tm.q[i]
		logs += math.Log(v)
	}
	mean /= total
	quad := 0.0
	for i := range tm.member {
		d := tm.q[i] - mean
		dev[i] = w[i] * d * d
		quad += dev[i]
	}
	if grad == nil {
		return tm.weight / 2 * (logs + math.Log(total) + quad)
	}
	add := func(i, j int, h float64) { info.SetSym(i, j, info.At(i, j)+h) }
	for i, p := range tm.member {
		a := f.at[p]
		if a < 0 {
			continue
		}
		share := w[i] / total
		g := tm.weight / 2 * (1 - share - dev[i])
		grad[a] += g * both[i]
		grad[a+1] += g * wander[i]
		for j, o := range tm.member {
			b := f.at[o]
			if b < a {
				continue
			}
			h := share * w[j] / total
			if i == j {
				h = (1 - share) * (1 - share)
			}
			h *= tm.weight / 2
			add(a, b, h*both[i]*both[j])
			add(a, b+1, h*both[i]*wander[j])
			if i != j {
				add(a+1, b, h*wander[i]*both[j])
			}
			add(a+1, b+1, h*wander[i]*wander[j])
		}
	}
	return tm.weight / 2 * (logs + math.Log(total) + quad)
}
